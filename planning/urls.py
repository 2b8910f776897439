"""Addresses of planning."""

from django.urls import path

from planning.views import asking, colours, cutting, imports, jobs, library, pictures

urlpatterns = [
    path("", asking.today, name="today"),
    path("plan/", asking.plan_sheet, name="plan_sheet"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/count/", jobs.count_needed, name="count_needed"),
    path("jobs/keep/", jobs.keep_job, name="keep_job"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("jobs/<int:pk>/change/", jobs.edit_job, name="edit_job"),
    path("jobs/<int:pk>/cut/", cutting.cut_sheet, name="cut_sheet"),
    path("jobs/<int:pk>/delete/", jobs.confirm_drop, name="confirm_drop_job"),
    path("jobs/<int:pk>/deleted/", jobs.drop, name="drop_job"),
    path("designs/", library.designs, name="designs"),
    path("designs/import/", imports.design_import, name="design_import"),
    path("designs/import/<int:pk>/", imports.import_run, name="import_run"),
    path("designs/import/<int:pk>/go/", imports.import_here, name="import_here"),
    path("designs/import/<int:pk>/refused.csv", imports.import_refused, name="import_refused"),
    path("designs/shades/", colours.shade_suggestions, name="shade_suggestions"),
    path("designs/<int:pk>/", library.design, name="design"),
    path("designs/<int:pk>/file/", library.design_file, name="design_file"),
    path("designs/<int:pk>/name/", library.design_describe, name="design_describe"),
    path("designs/<int:pk>/favourite/", library.design_favourite, name="design_favourite"),
    path("designs/<int:pk>/notes/", library.design_note, name="design_note"),
    path("designs/<int:pk>/notes/<int:note>/delete/", library.design_note_delete, name="design_note_delete"),
    path("designs/<int:pk>/delete/", library.design_delete, name="design_delete"),
    path("designs/<int:pk>/plan-with/", library.design_plan_with, name="design_plan_with"),
    path("designs/<int:pk>/set-apart/", library.design_set_apart, name="design_set_apart"),
    path("designs/<int:pk>/colours/", colours.design_colours, name="design_colours"),
    path("designs/<int:pk>/colours/list/", colours.design_colour_list, name="design_colour_list"),
    path("designs/<int:pk>/colours/copy/", colours.design_colours_copy, name="design_colours_copy"),
    path("designs/<int:pk>/colours/undo/", colours.design_colours_undo, name="design_colours_undo"),
    path("designs/<int:pk>/picture.png", pictures.picture, {"kind": "picture"}, name="design_picture"),
    path("designs/<int:pk>/density.png", pictures.picture, {"kind": "density"}, name="design_density"),
    path("designs/<int:pk>/strip.png", pictures.picture, {"kind": "strip"}, name="design_strip"),
    path("help/", asking.help_page, name="help"),
]
