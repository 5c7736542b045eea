"""Several workshops and one lead: how each stands, and one figure compared between them."""
