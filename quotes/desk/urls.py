from quotes.desk.views import beginning, editor, home, issuing, steps

app_name = "desk"
urlpatterns = [
    *home.urlpatterns,
    *beginning.urlpatterns,
    *editor.urlpatterns,
    *steps.urlpatterns,
    *issuing.urlpatterns,
]
