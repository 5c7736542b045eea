"""Quality control for a small slide-brass workshop."""
