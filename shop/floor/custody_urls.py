from django.urls import path

from shop.floor.views import custody

urlpatterns = [
    path("tags/", custody.tags, name="tags"),
    path("t/<str:code>/", custody.tag, name="tag"),
    path("t/<str:code>/move/", custody.move, name="move"),
    path("t/<str:code>/end/", custody.end, name="end_tag"),
    path("parts/<uuid:uid>/tags/", custody.part_tags, name="part_tags"),
    path("restorations/<uuid:uid>/tags/", custody.bike_tags, name="bike_tags"),
    path("restorations/<uuid:uid>/tags/all/", custody.make_tags, name="make_tags"),
    path("restorations/<uuid:uid>/tags/new/", custody.add_tag, name="add_tag"),
    path("restorations/<uuid:uid>/tags/move/", custody.move_many, name="move_many"),
]
