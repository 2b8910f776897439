"""What programs ask and do: one version under ``api/1/``, described by itself. It holds no rules, it calls the verbs."""
