from django.urls import include, path

from shop.floor.views import hours_left

app_name = "floor"
urlpatterns = [
    path("", include("shop.floor.views.floor")),
    path("", include("shop.floor.hands_urls")),
    path("", include("shop.floor.times_urls")),
    path("", include("shop.floor.doing_urls")),
    path("", include("shop.floor.custody_urls")),
    path("", include("shop.floor.cards_urls")),
    path("", include("shop.floor.material_urls")),
    path("tasks/<uuid:uid>/left/", hours_left.page, name="hours_left"),
    path("", include("shop.floor.leaving_urls")),
]
