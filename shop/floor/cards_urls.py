from django.urls import path

from shop.floor.views import cards

urlpatterns = [
    path("parts/<uuid:uid>/card/", cards.part_card, name="part_card"),
    path("tasks/<uuid:uid>/card/", cards.task_card, name="task_card"),
    path("restorations/<uuid:uid>/tags/print/", cards.tag_sheet, name="tag_sheet"),
    path("t/<str:code>/print/", cards.one_tag, name="print_tag"),
]
