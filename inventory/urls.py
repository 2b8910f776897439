"""Addresses of the shelf."""

from django.urls import path

from inventory.views import (
    catalogue,
    colours,
    equivalents,
    files,
    items,
    lists,
    own_lists,
    owning,
    receive,
    scan,
    stocktakes,
)

urlpatterns = [
    path("", lists.shelf_list, name="shelf"),
    path("list/<slug:slug>/", lists.shelf_list, name="shelf_list"),
    path("list/<slug:slug>.csv", lists.shelf_csv, name="shelf_csv"),
    path("list/<slug:slug>/together/", lists.together, name="together"),
    path("own/", owning.do_i_own_this, name="own"),
    path("receive/", receive.receive, name="receive_first"),
    path("receive/<slug:slug>/", receive.receive, name="receive"),
    path("shade-choices/", receive.shade_choices, name="shade_choices"),
    path("catalogue/", catalogue.catalogue, name="catalogue"),
    path("catalogue/<slug:slug>/", catalogue.catalogue_list, name="catalogue_list"),
    path("catalogue/shades/<int:pk>/colour/", colours.shade_colour, name="shade_colour"),
    path("catalogue/shades/<int:pk>/equivalents/", equivalents.shade_equivalents, name="shade_equivalents"),
    path("catalogue/ranges/<int:pk>/readings/", colours.range_readings, name="range_readings"),
    path("equivalents/", equivalents.equivalents_of, name="equivalents"),
    path("catalogue/<slug:slug>/add/", catalogue.catalogue_add, name="catalogue_add"),
    path("catalogue/<slug:slug>/<int:pk>/", catalogue.catalogue_record, name="catalogue_record"),
    path("stocktakes/", stocktakes.stocktakes, name="stocktakes"),
    path("stocktakes/<int:pk>/", stocktakes.stocktake, name="stocktake"),
    path("stocktakes/<int:pk>/report/", stocktakes.stocktake_report, name="stocktake_report"),
    path("stocktakes/<int:pk>/finish/", stocktakes.finish_stocktake, name="finish_stocktake"),
    path("files/", files.files, name="files"),
    path("files/own-list/", own_lists.own_list, name="own_list"),
    path("files/own-list/<slug:sha256>/", own_lists.own_list_read, name="own_list_read"),
    path("files/<slug:kind>.<str:ending>", files.export, name="export"),
    path("files/<slug:kind>/template/", files.template, name="import_template"),
    path("files/<slug:kind>/<slug:sha256>/", files.import_preview, name="import_preview"),
    path("files/<slug:kind>/<slug:sha256>/failed/", files.failed_rows, name="failed_rows"),
    path("labels/", files.labels, name="labels"),
    path("scan/", scan.scan, name="scan"),
    path("entries/<int:pk>/take-back/", items.take_back, name="take_back"),
    # A label may hold anything that a person wrote on it: its pages come last.
    path("<path:label>/do/<slug:slug>/", items.act, name="act"),
    path("<path:label>/", items.item, name="item"),
]
