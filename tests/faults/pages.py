"""A page server for a fault run: the shop's own pages, one that owes an effect, and one that is wrong on purpose."""

import uuid
from pathlib import Path
from socketserver import ThreadingMixIn
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.urls import include, path


@login_not_required
def ask(_request: HttpRequest) -> HttpResponse:
    """A change with what it owes."""
    from tests.faults import roles

    roles.commit(uuid.uuid4().hex, "effect")
    return HttpResponse("asked")


@login_not_required
def hint(_request: HttpRequest) -> HttpResponse:
    """The control: wrong on purpose. A request that talks to Redis."""
    from shop.outbox import tasks

    tasks.deliver.apply_async(args=(0,), expires=1, retry=False)
    return HttpResponse("hinted")


urlpatterns = [path("fault/ask/", ask), path("fault/hint/", hint), path("", include("shop.urls"))]


class Quiet(WSGIRequestHandler):
    def log_message(self, *_given: object) -> None:
        return


class Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True


def serve(port: int) -> None:
    from django.conf import settings
    from django.core.wsgi import get_wsgi_application

    settings.ROOT_URLCONF = __name__
    Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
    make_server("127.0.0.1", port, get_wsgi_application(), Server, Quiet).serve_forever()
