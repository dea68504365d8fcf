"""Pages where facts and price meet: one module per page, each with its own addresses."""
