import pytest

from shop.restorations.models import Part, Restoration
from tests.vendor_jobs.lots import lever
from tests.workshop import Workshop, restoration, workshop


@pytest.fixture
def shop(db: None) -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


@pytest.fixture
def levers(shop: Workshop, bike: Restoration) -> Part:
    return lever(bike, shop)
