from django.urls import path

from shop.floor.views import again, damage, doing, pictures

urlpatterns = [
    path("steps/<uuid:uid>/checks/", doing.check, name="check"),
    path("steps/<uuid:uid>/let-pass/", doing.let_pass, name="let_pass"),
    path("steps/<uuid:uid>/done/", doing.done, name="done"),
    path("steps/<uuid:uid>/not-done/", doing.not_done, name="not_done"),
    path("steps/<uuid:uid>/split/", doing.split, name="split"),
    path("steps/<uuid:uid>/again/", again.again, name="again"),
    path("again/<uuid:uid>/take-back/", again.take_back, name="not_again"),
    path("tasks/<uuid:uid>/done/", doing.task_done, name="task_done"),
    path("remedies/<uuid:uid>/done/", doing.remedy_done, name="remedy_done"),
    path("parts/<uuid:uid>/damage/", damage.damage, name="damage"),
    path("photographs/<uuid:uid>/", pictures.photograph, name="photograph"),
    path("photographs/<uuid:uid>/thumbnail/", pictures.thumbnail, name="thumbnail"),
]
