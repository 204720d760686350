from django.urls import path

from brewbar.web import views

app_name = "web"
urlpatterns = [
    path("", views.home, name="home"),
    path("health/", views.health, name="health"),
]
