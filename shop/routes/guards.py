from shop.guards import append_only

GUARDS = (append_only("routes_override", "An override is kept as it was decided. Note a new one."),)
