from django.urls import path

from brewbar.crew.views import account, at_tablet, join, people, record, set_up, settings, sign_in, tablets

app_name = "crew"
urlpatterns = [
    path("set-up/", set_up.set_up, name="set_up"),
    path("first-steps/", set_up.first_steps, name="first_steps"),
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("place/", sign_in.switch_place, name="switch_place"),
    path("password/", sign_in.password, name="password"),
    path("account/", account.account, name="account"),
    path("company/", settings.company, name="company"),
    path("company/cafes/new/", settings.cafe_new, name="cafe_new"),
    path("company/cafes/<int:pk>/", settings.cafe, name="cafe"),
    path("tablets/", tablets.tablets, name="tablets"),
    path("tablets/<int:pk>/revoke/", tablets.tablet_revoke, name="tablet_revoke"),
    path("tablets/unlock/<int:pk>/", tablets.unlock, name="unlock"),
    path("my-pin/", at_tablet.my_pin, name="my_pin"),
    path("pin/", at_tablet.names, name="names"),
    path("pin/<int:pk>/", at_tablet.pin, name="pin"),
    path("pin/<int:pk>/new/", at_tablet.pin_new, name="pin_new"),
    path("touch/", at_tablet.touch, name="touch"),
    path("kept/", at_tablet.waiting, name="kept"),
    path("crew/", people.people, name="people"),
    path("crew/invite/", people.invite, name="invite"),
    path("crew/links/<int:pk>/withdraw/", people.withdraw, name="link_withdraw"),
    path("crew/<int:pk>/", people.person, name="person"),
    path("crew/<int:pk>/role/", people.role, name="role"),
    path("crew/<int:pk>/further/", people.further, name="further"),
    path("crew/<int:pk>/training/", people.training, name="training"),
    path("crew/<int:pk>/password/", people.new_password, name="new_password"),
    path("crew/<int:pk>/end/", people.end, name="end"),
    path("join/<str:key>/", join.join, name="join"),
    path("join/<str:key>/known/", join.join_known, name="join_known"),
    path("record/", record.changes, name="record"),
]
