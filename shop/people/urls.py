from allauth.account import views
from django.urls import path

from shop.people.forms import NewPasswordForm, SignInForm

# The names are allauth's own. Its other pages (sign-up, mail, reset) are not served at all.
urlpatterns = [
    path("", views.LoginView.as_view(form_class=SignInForm), name="account_login"),
    path("out/", views.LogoutView.as_view(), name="account_logout"),
    path("password/", views.PasswordChangeView.as_view(form_class=NewPasswordForm), name="account_change_password"),
]
