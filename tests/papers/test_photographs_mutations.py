"""Whatever is done to the bytes of a picture, an upload ends with an answer, never with an error (RELIABILITY F-05)."""

import io

import pytest
from django.contrib.auth.models import Permission
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from shop.papers.models import Photograph
from shop.people.services import add_person
from tests.papers.pictures import many_frames, saved
from tests.papers.test_photographs_privacy import noted

NOISE = Image.effect_noise((40, 30), 90).convert("RGB")
SEEDS = [
    noted("JPEG"),
    noted("PNG"),
    noted("WEBP"),
    saved(NOISE, "JPEG", progressive=True),
    saved(NOISE.convert("CMYK"), "JPEG"),
    saved(NOISE, "MPO", save_all=True, append_images=[NOISE]),
    saved(NOISE.quantize(16), "PNG", transparency=3),
    saved(NOISE.convert("LA"), "PNG"),
    saved(NOISE, "WEBP", lossless=True),
    many_frames("PNG"),
    many_frames("WEBP"),
]
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["put", "cut", "repeat", "drop"]),
        st.floats(0, 1, allow_nan=False),
        st.binary(min_size=1, max_size=8),
        st.integers(1, 400),
    ),
    max_size=4,
)


def changed(content: bytes, changes: list[tuple[str, float, bytes, int]]) -> bytes:
    for what, where, new, length in changes:
        at = int(where * len(content))
        if what == "put":
            content = content[:at] + new + content[at + len(new) :]
        elif what == "cut":
            content = content[:at]
        elif what == "repeat":
            content = content[:at] + content[at : at + length] + content[at:]
        else:
            content = content[:at] + content[at + length :]
    return content


@pytest.mark.django_db
@pytest.mark.urls("tests.papers.photograph_page")
def test_an_upload_is_kept_or_refused_at_its_field_whatever_its_bytes() -> None:
    person = add_person(username="eve", name="Eve", password="spoke nipple 36", roles=["mechanic"])
    person.user_permissions.add(Permission.objects.get(codename="view_photograph"))
    client = Client()
    client.force_login(person)

    @settings(max_examples=80, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(st.sampled_from(SEEDS), CHANGES)
    def holds(seed: bytes, changes: list[tuple[str, float, bytes, int]]) -> None:
        upload = SimpleUploadedFile("a.jpg", changed(seed, changes))
        answer = client.post("/proof/", {"photograph-file": upload, "photograph-caption": "Tank"})
        assert answer.status_code == 302 or b'id="id_photograph-file_error"' in answer.content

    holds()
    kept = Photograph.objects.count()
    assert kept > 5
    print(f"{kept} kept")


@pytest.mark.control
def test_what_the_library_is_given_may_well_raise_other_errors() -> None:
    """So the answer above is owed to the child, not to a library that never stumbles."""
    raised = set()
    for seed in SEEDS:
        for at in range(0, len(seed), 29):
            try:
                picture = Image.open(io.BytesIO(seed[:at] + b"\xff\x00" + seed[at + 2 :]))
                picture.load()
                picture.getexif().get_ifd(0x8769)
            except Exception as error:
                raised.add(type(error).__name__)
    print(sorted(raised))
    assert raised - {"UnidentifiedImageError"}
