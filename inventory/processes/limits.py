"""What a process that reads a stranger's file may use."""


def limit_resources(*, memory_bytes: int, cpu_seconds: int) -> None:
    """Limit what this process may use, where the system can."""
    try:
        import resource
    except ImportError:  # Windows has no such limits: there the parent's clock is the only one
        return
    for what, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, cpu_seconds),
        (resource.RLIMIT_CORE, 0),  # the memory of a process that was stopped is of no use to anybody
    ):
        _, hard = resource.getrlimit(what)
        soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
        try:
            resource.setrlimit(what, (soft, hard))
        except (ValueError, OSError):  # some systems know the memory limit but refuse to set it
            continue
