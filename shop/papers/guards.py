from shop.guards import append_only, frozen_columns, refuse

MADE_ONCE = (
    "uid",
    "sha256",
    "thumbnail_sha256",
    "kind",
    "width",
    "height",
    "bytes",
    "added_at",
    "added_by",
)

GUARDS = (
    append_only("papers_document"),
    frozen_columns(
        "papers_photograph", MADE_ONCE, "A photograph is kept as added: only its caption and its day can be corrected."
    ),
    refuse(
        "papers_photograph",
        "kept",
        on="DELETE",
        when="1 = 1",
        message="A photograph is kept as added: it cannot be deleted.",
    ),
)
