"""A page that takes in photographs, as the pages of other rooms do; for ``@pytest.mark.urls``."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template import engines
from django.urls import path

from shop import urls
from shop.papers.models import Photograph
from shop.papers.photographs_forms import PhotographForm, photograph_from

PAGE = """{% extends "base.html" %}{% load static %}
{% block title %}Proof{% endblock %}
{% block head %}<link rel="stylesheet" href="{% static 'css/photographs.css' %}">{% endblock %}
{% block content %}<h1>Proof</h1>{% include "components/photographs.html" %}{% endblock %}"""


def proof(request: HttpRequest) -> HttpResponse:
    form = PhotographForm(request.POST or None, request.FILES or None, prefix="photograph")
    if request.method == "POST" and photograph_from(request, form):
        return redirect("/proof/")
    given = {
        "photographs": Photograph.objects.all(),
        "photograph_form": form,
        "photograph_action": "/proof/",
    }
    return HttpResponse(engines["django"].from_string(PAGE).render(given, request))


urlpatterns = [path("proof/", proof), *urls.urlpatterns]
