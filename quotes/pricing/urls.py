from django.urls import path

from quotes.pricing import views
from quotes.pricing.customers import sending_views

app_name = "pricing"
urlpatterns = [
    path("<uuid:uid>/", views.quote, name="quote"),
    path("<uuid:uid>/paper/", views.paper, name="paper"),
    path("<uuid:uid>/costs/", views.sheet, name="sheet"),
    path("<uuid:uid>/costs.xlsx", views.sheet_file, name="sheet_file"),
    path("<uuid:uid>/send/", sending_views.send, name="send"),
    path("<uuid:uid>/link/", sending_views.make_link, name="make_link"),
    path("<uuid:uid>/withdraw/", sending_views.withdraw, name="withdraw"),
    path("links/<uuid:uid>/revoke/", sending_views.revoke, name="revoke_link"),
]
