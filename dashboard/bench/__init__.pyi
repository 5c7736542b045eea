"""Types of what `dashboard.bench` offers; the package fetches each name on first use."""

from .routes import add_routes as add_routes
