"""Storms: programs that are killed again and again at random moments, and what each death leaves behind."""
