from django.urls import path

from brewbar.web import views

app_name = "web"
urlpatterns = [
    path("", views.home, name="home"),
    path("health/live", views.live, name="live"),
    path("health/ready", views.ready, name="ready"),
]
