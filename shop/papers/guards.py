from shop.guards import append_only

GUARDS = (append_only("papers_document"),)
