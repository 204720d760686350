from django.urls import path

from recipes.views import board, cards, editor, planning, recipes, stations

app_name = "recipes"
urlpatterns = [
    path("board/", board.board, name="board"),
    path("board/cards.pdf", cards.board_cards, name="board_cards"),
    path("board/slots/<int:pk>/", board.slot, name="slot"),
    path("board/slots/<int:pk>/grind/", board.slot_grind, name="slot_grind"),
    path("board/slots/<int:pk>/leave/", planning.slot_leave, name="slot_leave"),
    path("board/slots/<int:pk>/keep/", planning.slot_keep, name="slot_keep"),
    path("board/slots/<int:pk>/drop/", planning.slot_drop, name="slot_drop"),
    path("board/plan/", planning.plan, name="board_plan"),
    path("board/publish/", planning.publish, name="board_publish"),
    path("board/stations/", stations.stations, name="board_stations"),
    path("board/stations/<int:pk>/", stations.station, name="board_station"),
    path("board/stations/<int:pk>/retire/", stations.station_retire, name="board_station_retire"),
    path("board/stations/<int:pk>/return/", stations.station_return, name="board_station_return"),
    path("cards/<int:pk>/", cards.card, name="card"),
    path("cards/<int:pk>/card.svg", cards.card_picture, name="card_svg"),
    path("cards/<int:pk>/card.pdf", cards.card_print, name="card_pdf"),
    path("recipes/", recipes.recipes, name="recipes"),
    path("recipes/new/", recipes.recipe_new, name="recipe_new"),
    path("recipes/<int:pk>/", recipes.recipe, name="recipe"),
    path("recipes/<int:pk>/revise/", recipes.recipe_revise, name="recipe_revise"),
    path("recipes/<int:pk>/retire/", recipes.recipe_retire, name="recipe_retire"),
    path("versions/<int:pk>/", recipes.version, name="version"),
    path("versions/<int:pk>/edit/", editor.edit, name="version_edit"),
    path("versions/<int:pk>/preview/", editor.preview, name="version_preview"),
    path("versions/<int:pk>/discard/", recipes.version_discard, name="version_discard"),
]
