"""Who may do what: the one table of rights, asked by the guard before any page is drawn.

A route that the table does not name is closed to everybody, so that a new page cannot be forgotten.
"""

from enum import IntEnum
from typing import NamedTuple

from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from workshop.models import Role


class Right(IntEnum):
    """What a page or an act asks of whoever comes; each includes those below it."""

    ANYONE = 0
    SELF = 1  # any person who is signed in, about themselves
    SEE = 2
    STITCH = 3
    PLAN = 4
    OWN = 5


RIGHTS_OF = {
    Role.VIEWER: Right.SEE,
    Role.STITCHER: Right.STITCH,
    Role.PLANNER: Right.PLAN,
    Role.OWNER: Right.OWN,
}

# What each right is for: the page "Who may do what" and refusals are made of these words, said by ``in_words``.
IN_WORDS = {
    Right.SEE: N_("look at plans, jobs, designs, the shelf and buying"),
    Right.STITCH: N_("tick pieces, weigh, take and put back, cut, count the shelf, finish a run"),
    Right.PLAN: N_(
        "make and promise jobs, keep designs, receive and buy, change the catalogue and the workshop's rules"
    ),
    Right.OWN: N_("invite people, give roles, set up stations, end sign-ins, back up"),
}


class Asks(NamedTuple):
    """The right that looking at a page takes, and the right that sending something to it takes."""

    see: Right
    act: Right


_ANYONE = Asks(Right.ANYONE, Right.ANYONE)
_SELF = Asks(Right.SELF, Right.SELF)
_LOOK = Asks(Right.SEE, Right.SEE)
_STITCH = Asks(Right.SEE, Right.STITCH)
_PLAN = Asks(Right.SEE, Right.PLAN)
_OWN = Asks(Right.OWN, Right.OWN)

# By the name of the route.
ROUTES: dict[str, Asks] = {
    **dict.fromkeys(("sign_in", "sign_out", "welcome", "open_workshop", "join", "reset_password", "health"), _ANYONE),
    **dict.fromkeys(("forgotten", "manifest"), _ANYONE),
    **dict.fromkeys(("api_description", "api_help"), _ANYONE),
    **dict.fromkeys(("second_step", "passkey_ask", "passkey_sign_in"), _ANYONE),
    **dict.fromkeys(("station_here", "choose_person", "let_go_person"), _ANYONE),  # the guard knows the tablet
    **dict.fromkeys(
        (
            "preferences", "change_password", "my_mail", "my_pin", "my_sign_ins", "end_sign_in",
            "second_factor", "app_keep",
            "second_away", "passkey_make", "passkey_keep", "passkey_away",
        ),
        _SELF,
    ),
    **dict.fromkeys(
        (
            "people", "invite", "end_link", "member", "station_add", "station_end", "end_anyones_sign_in", "backups",
            "backup_file", "doctor", "reopen_job", "tokens", "token_end", "second_rule", "watching",
            "work", "work_stop", "work_again",
        ),
        _OWN,
    ),
    **dict.fromkeys(("rights", "find"), _LOOK),
    # The shelf.
    **dict.fromkeys(
        (
            "shelf", "shelf_list", "shelf_csv", "own", "shade_choices", "catalogue", "catalogue_list",
            "shade_equivalents", "equivalents", "export", "import_template", "labels", "label", "item",
            "stocktake_report", "acts", "act_on_many", "pocket", "pocket_shades",
        ),
        _LOOK,
    ),
    **dict.fromkeys(("scan", "act", "take_back", "stocktakes", "stocktake", "finish_stocktake"), _STITCH),
    **dict.fromkeys(
        (
            "together", "receive_first", "receive", "shade_colour", "range_readings", "catalogue_add",
            "catalogue_record", "files", "import_preview", "failed_rows", "own_list", "own_list_read",
            "take_back_act_on_many", "shade_acts", "take_back_shade",
        ),
        _PLAN,
    ),
    # Planning.
    **dict.fromkeys(
        (
            "plan_sheet", "jobs", "job", "job_report", "run_state", "what_if_first", "designs", "design",
            "design_file", "shade_suggestions", "design_picture", "design_density", "design_strip", "gap_map",
            "stitch_out_photo", "learned", "running_out", "buying", "material", "looking_back", "orders", "order_file",
            "help", "strip_download", "import_run", "import_refused", "remembered_colours", "remembered_colours_csv",
            "json_keys", "job_hoopings", "job_hooping_files", "measure_first", "strip_threads_download", "worker",
            "earlier_worker", "handbook", "handbook_page", "handbook_words",
        ),
        _LOOK,
    ),
    **dict.fromkeys(
        (
            "cut_sheet", "cut_together", "count_needed", "begin_job", "run_sheet", "happened", "happenings",
            "not_begun", "second_needle", "take_back_event", "finish_job", "design_note", "needle",
        ),
        _STITCH,
    ),
    **dict.fromkeys(
        (
            "today", "first_hour", "first_colours", "first_machine",
            "keep_job", "names_job", "quote", "edit_job", "hold_shades", "promise_job", "take_back_promise",
            "drop_job", "pick_up_job", "same_again", "confirm_delete_job", "delete_job", "design_import", "import_here",
            "import_stop",
            "design_describe", "design_favourite", "design_note_delete", "design_delete", "design_plan_with",
            "design_set_apart", "design_join", "design_colours", "design_colour_list", "design_colours_copy",
            "design_colours_take_back", "setup", "setup_rules", "start_anew", "count_or_leave", "reset_back", "strip",
            "machine_changed", "change_back", "change_remembered",
            "design_appliques", "design_applique_remove",
            "strip_keep", "strip_threads", "strip_threads_keep", "setup_add", "setup_record", "buying_draft",
            "order", "order_act",
        ),
        _PLAN,
    ),
    # What programs ask and do, with a token and never by a cookie.
    **dict.fromkeys(
        (
            "api_stock", "api_thing", "api_movements", "api_makers", "api_ranges", "api_range", "api_shades",
            "api_shade", "api_match", "api_places", "api_bobbin_styles", "api_stabilizers", "api_designs", "api_design",
            "api_plan", "api_job_plan", "api_job", "api_needs", "api_basket", "api_order", "api_metrics",
            "api_report",
        ),
        _LOOK,
    ),
    **dict.fromkeys(
        (
            "api_weigh", "api_use", "api_put_back", "api_count", "api_judge", "api_waste", "api_move", "api_retire",
            "api_take_back", "api_run", "api_events", "api_event_back", "api_ending", "api_cut",
        ),
        _STITCH,
    ),
    **dict.fromkeys(
        (
            "api_receive_spools", "api_receive_open_spool", "api_receive_bobbins", "api_receive_rolls", "api_jobs",
            "api_promise", "api_release", "api_drop", "api_pick_up", "api_orders", "api_place_order",
            "api_cancel_order", "api_receive_order",
        ),
        _PLAN,
    ),
}  # fmt: skip
API = "api_"

# What a tablet may show and do, beside pictures and what belongs to no job. All of it at its own machine only.
STATION_ROUTES = frozenset(
    {
        "station_here", "choose_person", "let_go_person", "jobs", "run_sheet", "happened", "happenings",
        "take_back_event", "finish_job", "job_report", "begin_job", "cut_sheet", "not_begun", "run_state",
        "second_needle", "job_hoopings", "job_hooping_files", "worker", "earlier_worker",
        "design_picture", "stitch_out_photo", "needle", "rights", "help", "handbook", "handbook_page",
        "handbook_words",
        # By a token that is the station's.
        "api_run", "api_events", "api_event_back", "api_ending", "api_report", "api_cut", "api_job", "api_job_plan",
        "api_stock", "api_thing", "api_weigh",
    }
)  # fmt: skip


def in_words(right: Right) -> str:
    """Return what a right is for, in the reader's language."""
    return _(IN_WORDS[right])


def right_of(role: str) -> Right:
    """Return the most that a role may do.

    >>> right_of("stitcher") >= Right.STITCH, right_of("stitcher") >= Right.PLAN
    (True, False)
    """
    return RIGHTS_OF[Role(role)]


def asks(route: str | None, *, changes: bool) -> Right | None:
    """Return the right that this route takes, or None where the table does not name it: then nobody may.

    >>> asks("promise_job", changes=True).name, asks("a_page_nobody_listed", changes=False)
    ('PLAN', None)
    """
    row = ROUTES.get(route or "")
    return None if row is None else row.act if changes else row.see
