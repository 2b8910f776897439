"""Lists of thread as people keep them: their own columns and words, understood or asked about."""
