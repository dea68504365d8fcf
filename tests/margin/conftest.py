import pytest

from shop.people.models import User
from shop.restorations.models import Restoration
from tests.margin.jobs import accept, bike
from tests.workshop import Workshop, workshop


@pytest.fixture
def shop(transactional_db: None) -> Workshop:
    return workshop()


@pytest.fixture
def job(shop: Workshop) -> Restoration:
    """A bike whose main offer was accepted."""
    of = bike(shop)
    accept(of)
    return of


@pytest.fixture
def joe(transactional_db: None) -> User:
    return User.objects.create(username="joe", first_name="Joe")
