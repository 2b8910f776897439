"""What programs ask and do: one version under ``api/1/``. It holds no rules, it calls the verbs."""
