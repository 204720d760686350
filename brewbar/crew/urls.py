from django.urls import path

from brewbar.crew import views

app_name = "crew"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("place/", views.switch_place, name="switch_place"),
    path("password/", views.password, name="password"),
]
