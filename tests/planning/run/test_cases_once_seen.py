"""What once went wrong between promise and report, and the tests that hold each of it: a map that must stay true."""

import importlib

import pytest

EVENTS, STOCKTAKES = (
    "tests.planning.run.test_run_events",
    "tests.inventory.stocktakes.test_stocktake_to_its_end",
)
CASES = {
    "finishing takes no stabilizer": [
        (EVENTS, "test_finishing_takes_the_stabilizer_of_what_was_ticked"),
        (EVENTS, "test_what_was_cut_before_is_not_taken_twice"),
    ],
    "a swap taken back leaves the shelf wrong": [
        (EVENTS, "test_a_swap_taken_back_gives_the_later_pieces_to_the_spool_before"),
        (EVENTS, "test_ran_out_asks_what_is_left_before_it_writes_off"),
    ],
    "a stocktake cannot be counted to its end": [
        (STOCKTAKES, "test_every_kind_of_thing_is_counted_to_the_end_and_the_place_is_free_again"),
        (STOCKTAKES, "test_two_phones_go_round_everything_in_turns_leave_it_and_end_it"),
    ],
    "two taps count twice": [
        (EVENTS, "test_a_second_tap_is_asked_about"),
        (EVENTS, "test_a_second_tap_is_asked_about_on_the_page_and_can_be_meant"),
    ],
    "one doubtful roll is judged alone": [
        (
            "tests.planning.compute.stabilizer.test_stabilizing",
            "test_a_doubtful_roll_is_judged_with_all_that_can_serve_in_its_place",
        ),
    ],
    "nothing that ended or was entered can be put right": [
        (EVENTS, "test_a_finished_job_is_opened_again_with_its_reason_and_finished_anew"),
        (EVENTS, "test_an_early_bobbin_moves_the_next_one"),
        (EVENTS, "test_more_times_than_there_are_pieces_ticks_what_there_is_and_says_so"),
        (
            "tests.inventory.shelf.test_corrections",
            "test_what_was_weighed_is_reckoned_anew_from_the_same_weight",
        ),
    ],
    "names need a common design": [
        ("tests.planning.jobs.test_names", "test_a_job_of_names_alone_is_planned_promised_and_run"),
        ("tests.planning.jobs.test_names", "test_thirty_names_on_two_hoops_read_back_within_half_a_percent"),
    ],
    "a stocktake cannot be scanned": [
        (STOCKTAKES, "test_a_code_scanned_where_a_number_is_wanted_is_the_next_thing"),
        (STOCKTAKES, "test_more_bobbins_than_a_box_are_asked_about"),
        (STOCKTAKES, "test_a_thing_from_another_place_is_asked_about_before_it_moves"),
    ],
    "a phone loses what is refused, and its times": [
        (EVENTS, "test_a_tap_keeps_its_time_though_it_is_sent_later"),
        (EVENTS, "test_a_second_device_learns_that_something_was_noted"),
        (EVENTS, "test_the_page_takes_the_whole_of_a_scanned_label"),
        (EVENTS, "test_the_sheet_names_a_spool_of_another_shade_that_was_swapped_in"),
        (STOCKTAKES, "test_what_no_full_spool_can_hold_is_asked_about"),
        ("tests.inventory.shelf.test_many_at_once", "test_fifty_things_move_in_one_act_and_go_back_in_one"),
        (
            "tests.browser.test_run_beside_the_machine",
            "test_what_is_refused_stays_until_a_person_says_what_becomes_of_it",
        ),
    ],
    "a needle changed is charged with all, and its due is told late": [
        (EVENTS, "test_a_needle_changed_after_four_pieces_is_charged_with_the_rest"),
        (EVENTS, "test_a_needle_is_foreseen_before_the_piece_at_which_it_is_due"),
        (
            "tests.planning.plan.test_speeds",
            "test_the_slowest_of_machine_cloth_and_thread_sets_the_speed_and_the_cost",
        ),
        ("tests.planning.jobs.test_quotes", "test_what_has_no_price_is_told_in_every_row"),
    ],
    "a change of tension can be said nowhere": [
        (EVENTS, "test_a_change_of_tension_is_told_at_the_machine"),
        (EVENTS, "test_a_change_of_tension_begins_a_new_stretch_for_learning_until_it_is_taken_back"),
    ],
}


@pytest.mark.parametrize("case", CASES)
def test_every_case_has_the_tests_that_hold_it(case):
    for module, name in CASES[case]:
        assert callable(getattr(importlib.import_module(module), name)), f"{module} has no {name}"
