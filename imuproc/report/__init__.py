"""Layer 9: tables and plots for people."""
