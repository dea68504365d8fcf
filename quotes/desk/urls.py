from quotes.desk.views import beginning, editor, home, issuing, steps, workshop

app_name = "desk"
urlpatterns = [
    *home.urlpatterns,
    *beginning.urlpatterns,
    *editor.urlpatterns,
    *steps.urlpatterns,
    *issuing.urlpatterns,
    *workshop.urlpatterns,
]
