"""Faults that others met, and the test that fails if ours ever has one of them.

The ids are those of the list that the design was checked against: a forms, b database, c time, d export, e offline,
f sign-in, g units and plates, h backup, i access and tablets. What no test here can show is argued below.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
GUARDED = {
    "A01": "fuzz/test_readers.py::test_a_typed_number_is_finite_and_in_its_range_or_refused",
    "A02": "web/test_entry_form.py::test_a_number_with_one_comma_or_point_is_taken_and_told_as_understood",
    "A03": "rules/test_numbers.py::test_whatever_is_typed_gives_a_finite_number_or_an_answer",
    "A04": "web/test_entry_form.py::test_nought_is_a_value_and_a_blank_is_none",
    "A05": "web/test_entry_form.py::test_a_figure_in_fahrenheit_left_alone_in_a_correction_is_the_same_to_the_last_bit",
    "A06": "web/test_entry_form.py::test_whoever_did_not_look_said_nothing_of_smoke_or_guard",
    "A07": "browser/test_glove.py::"
           "test_nothing_is_filled_in_and_the_last_figures_are_nowhere_in_the_page_before_the_new_one_is_in",
    "A08": "web/test_access.py::test_a_form_opened_at_the_start_of_the_shift_still_saves_at_its_end",
    "A09": "web/test_entry_form.py::test_going_back_and_saving_other_answers_offers_the_correction_and_changes_nothing",
    "A10": "web/test_access.py::test_a_form_of_any_encoding_has_one_largest_size",
    "B01": "store/test_database.py::test_twenty_tablets_saving_at_the_end_of_the_shift_are_all_stored",
    "B02": "store/test_base.py::test_a_reading_of_a_motor_that_does_not_exist_is_refused",
    "B03": "store/test_migrations.py::test_a_migration_that_would_break_links_is_undone",
    "B04": "store/test_migrations.py::test_no_migration_is_left_to_draft",
    "B05": "store/test_migrations.py::test_no_migration_is_left_to_draft",
    "B06": "store/test_migrations.py::test_a_migration_that_fails_half_way_leaves_nothing",
    "B07": "store/test_base.py::test_the_same_instant_comes_back_whatever_zone_it_was_written_in",
    "B08": "store/test_base.py::test_a_figure_that_is_no_number_reaches_neither_database",
    "B09": "store/test_base.py::test_a_long_remark_fits_on_both_databases",
    "B10": "store/test_base.py::test_motors_without_a_place_on_the_route_come_last_on_both_databases",
    "C01": "rules/test_shifts.py::test_a_night_over_a_clock_change_lasts_as_long_as_it_lasts",
    "C02": "export/test_week.py::test_both_half_past_ones_of_the_autumn_night_are_told_apart_and_in_order",
    "C03": "rules/test_shifts.py::test_a_night_belongs_to_the_date_it_began_on",
    "C04": "export/test_week.py::test_weeks_are_iso_weeks_of_the_units_local_time",
    "C06": "api/test_tablet.py::test_a_slow_tablets_clock_is_put_right",
    "D01": "export/test_week.py::test_remarks_a_spreadsheet_would_run_are_made_harmless_and_nothing_else_is",
    "D02": "export/test_week.py::test_remarks_a_spreadsheet_would_run_are_made_harmless_and_nothing_else_is",
    "D03": "export/test_workbook.py::test_text_cells_are_text_as_typed",
    "D04": "test_week_command.py::test_the_continental_file_has_semicolons_and_decimal_commas_and_else_the_same_cells",
    "D05": "web/test_hard_tags.py::test_hard_tags_survive_import_pages_links_export_and_coming_back",
    "D06": "test_week_command.py::test_the_continental_file_has_semicolons_and_decimal_commas_and_else_the_same_cells",
    "D07": "export/test_workbook.py::test_a_control_character_stops_nothing_and_shows_no_code",
    "D08": "export/test_week_sheets.py::test_the_exceptions_are_those_of_the_csv_with_a_local_time_beside_each_time",
    "D09": "export/test_workbook.py::test_over_long_text_is_cut_and_says_so",
    "E01": "api/test_tablet.py::test_signed_out_is_said_as_data_and_repeats_the_id",
    "E02": "api/test_tablet.py::test_the_same_batch_sent_twice_is_one_batch",
    "E03": "api/test_tablet.py::test_with_a_ticket_nobody_need_be_signed_in",
    "E04": "browser/test_tablets.py::"
           "test_an_entry_that_waits_through_a_change_of_hands_is_sent_by_the_next_under_who_made_it",
    "E07": "web/test_access.py::test_the_next_person_on_the_tablet_gets_nothing_of_the_one_before",
    "E08": "api/test_tablet.py::test_signed_out_is_said_as_data_and_repeats_the_id",
    "F01": "web/test_access.py::test_a_copied_cookie_is_worth_nothing_after_signing_out",
    "F02": "web/test_access.py::test_the_session_changes_at_every_sign_in_and_one_chosen_by_another_is_not_taken",
    "F03": "web/test_access.py::test_without_a_proxy_of_ours_what_a_proxy_would_say_is_not_believed",
    "F04": "web/test_access.py::test_an_address_that_is_not_ours_leads_to_the_start_page",
    "F05": "web/test_labels.py::test_the_address_in_the_code_is_the_settings_whatever_name_the_request_came_under",
    "F06": "web/test_accounts.py::"
           "test_guessing_every_name_of_the_crew_from_elsewhere_keeps_nobody_off_their_own_tablet",
    "F07": "web/test_accounts.py::test_wrong_tries_at_the_same_moment_are_all_counted",
    "F08": "web/test_injection.py::test_stored_text_is_never_run_on_any_page",
    "G01": "rules/test_units.py::test_ten_kelvin_of_difference_is_18_f_and_never_50",
    "G02": "rules/test_units.py::test_seven_and_a_half_hp_is_5_595_kw",
    "G03": "rules/test_plate.py::test_horsepower_is_read_as_stamped",
    "G04": "web/test_motors.py::test_a_plate_whose_connected_voltage_is_not_chosen_says_why_there_is_no_percent",
    "G05": "store/test_register.py::test_service_factor_amps_are_never_made_up",
    "G06": "web/test_entry_form.py::test_three_phases_are_kept_apart",
    "G07": "rules/test_units.py::test_in_s_peak_is_25_4_over_root_two_mm_s_rms",
    "G08": "store/test_register.py::test_another_spelling_of_a_tag_is_the_same_motor",
    "G09": "web/test_hard_tags.py::test_a_hard_tag_is_found_percent_encoded_at_the_door",
    "G10": "web/test_lubrication.py::test_a_thickener_that_does_not_mix_is_act_now_and_another_lubricant_this_shift",
    "H01": "test_backups.py::test_a_copy_under_write_load_holds_everything_acknowledged_before_it_began",
    "H02": "test_backups.py::test_going_back_gives_every_row_of_the_copy_and_keeps_what_was_there",
    "H03": "web/test_storage_faults.py::"
           "test_an_entry_that_cannot_be_stored_is_told_so_and_can_be_sent_again_as_it_was",
    "H04": "test_backups.py::test_a_copy_by_a_newer_version_is_refused_by_name",
    "I01": "browser/test_pages.py::test_a_comma_typed_on_the_tablet_is_never_lost",
    "I02": "browser/test_glove.py::test_a_comma_is_read_and_junk_is_refused_beside_its_field_with_all_else_kept",
    "I03": "test_traps.py::test_no_field_is_of_the_browsers_number_type",
    "I04": "test_traps.py::test_no_field_is_of_the_browsers_number_type",
    "I06": "browser/test_pages.py::test_what_was_typed_wrong_is_found_from_the_summary",
    "I07": "web/test_rounds.py::test_what_is_flagged_is_boxed_with_its_shape_and_its_word",
    "I08": "web/test_undo.py::test_an_entry_taken_back_is_no_look_raises_nothing_and_stays_readable",
}
#: Why there is no test of it here.
ARGUED = {
    "C05": "the package brings its own zone data (`tzdata` is a dependency), so no system without it can be made here",
    "C07": "no date goes through a browser's clock: dates are typed and read as dates on the server, and no script of "
           "ours parses one",
    "E05": "needs an iPad or Android web view; sending rests on no background means: on load, on reconnect, on focus, "
           "every minute and by a button",
    "E06": "a browser under storage pressure cannot be made here; the answer to the request to keep, the share used "
           "and the age of the oldest entry stand on the page",
    "E09": "no page of ours reloads itself for a new release; the queue's entries carry a version of their own",
    "H05": "what is a network share cannot be told from a program on every system; the settings file says local disk",
    "I05": "needs a device's own keypad; ours has minus, comma and point and stands beside it",
}
EVERY = {f"{letter}{i:02d}" for letter, count in zip("ABCDEFGHI", (10, 10, 7, 9, 9, 8, 10, 5, 8), strict=True)
         for i in range(1, count + 1)}


def test_every_trap_is_guarded_or_argued() -> None:
    assert GUARDED.keys() | ARGUED.keys() == EVERY
    assert not GUARDED.keys() & ARGUED.keys()


@cache
def named_in(path: Path) -> frozenset[str]:
    return frozenset(node.name for node in ast.walk(ast.parse(path.read_text("utf-8")))
                     if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"))


@pytest.mark.parametrize("trap", sorted(GUARDED))
def test_the_test_that_guards_it_is_there(trap: str) -> None:
    path, _, name = GUARDED[trap].partition("::")
    assert name in named_in(HERE / path)


def test_no_field_is_of_the_browsers_number_type() -> None:
    """Such a field drops a comma, empties what it cannot read, scrolls its figure and has steps to miss."""
    pages = [*(HERE.parent / "app" / "templates").rglob("*.html"), *(HERE.parent / "app" / "web").rglob("*.py"),
             *(HERE.parent / "app" / "static" / "js").rglob("*.js")]
    assert len(pages) > 100
    assert [str(p) for p in pages if re.search(r"""type=\\?["']number|type: ?["']number|NumberInput""",
                                               p.read_text("utf-8"))] == []
