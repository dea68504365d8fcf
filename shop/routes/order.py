"""The check that no steps wait for each other in a circle."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from quotes.engine.errors import BadInput
from quotes.engine.graph import check_order
from shop.restorations.models import Restoration
from shop.routes.selectors import order_graph


def refuse_circles(restoration: Restoration) -> None:
    """Raise a `ValidationError` that names every step of a circle, part by part."""
    try:
        check_order(*order_graph(restoration))
    except BadInput as error:
        raise ValidationError(error.sentence(_(error.template)), code="circle") from error
