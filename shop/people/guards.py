"""Facts about people that the database itself keeps."""

from shop.guards import append_only

GUARDS = (append_only("people_persongrade", "Which grade somebody had is kept. Give another one from a day on."),)
