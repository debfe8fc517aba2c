"""Records of a season book: writing, undoing and merging."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

import pytest

from feedcalc.book.records import (
    LONGEST_TEXT,
    FieldVersion,
    changed_records,
    later_timestamp,
    merge,
    new_record,
    remove_record,
    timestamp_of,
    undo_latest,
    undoing_texts,
    write_fields,
)
from feedcalc.words.errors import InputError
from tests.book.samples import bed, day

# -- writing and undoing --------------------------------------------------------------------------------------


def test_the_former_text_of_a_field_becomes_history_with_its_time_and_writer():
    changed = write_fields(bed(area="6 m^2"), {"area": "8 m^2"}, day(2), "laptop")
    assert changed.text("area") == "8 m^2"
    assert changed.history == (FieldVersion("area", day(1), "phone", "6 m^2"),)


def test_writing_the_current_text_changes_nothing():
    assert write_fields(bed(), {"name": "South", "note": ""}, day(2), "laptop") == bed()


def test_a_write_with_an_earlier_timestamp_becomes_history():
    late = write_fields(bed(at=day(5)), {"name": "Late"}, day(2), "laptop")
    assert late.text("name") == "South"
    assert [past.text for past in late.history] == ["Late"]


def test_a_write_by_a_slow_clock_becomes_current_with_later_timestamp():
    ahead = bed(at="2031-01-01T00:00:00.000Z")
    assert write_fields(ahead, {"name": "New"}, later_timestamp([ahead], day(1)), "slow").text("name") == "New"


def test_no_timestamp_is_later_than_the_end_of_the_year_9999():
    assert later_timestamp([bed(at="9999-12-31T23:59:59.999Z")], day(1)) == "9999-12-31T23:59:59.999Z"


def test_a_moment_in_another_time_zone_gets_a_timestamp_in_utc():
    assert timestamp_of(datetime(2026, 5, 1, 9, tzinfo=timezone(timedelta(hours=2)))) == "2026-05-01T07:00:00.000Z"
    assert timestamp_of(datetime(2026, 5, 1, 9, 0, 0, 999999, tzinfo=UTC)) == "2026-05-01T09:00:00.999Z"


def test_a_removed_record_stays_in_the_book_and_can_be_restored():
    gone = remove_record(bed(), day(2), "phone")
    assert gone.is_removed
    assert gone.text("name") == "South"
    back = write_fields(gone, {"removed": ""}, day(3), "phone")
    assert not back.is_removed
    assert FieldVersion("removed", day(2), "phone", "yes") in back.history


def test_undo_restores_a_field_and_a_second_undo_brings_the_change_back():
    changed = write_fields(bed(area="6 m^2"), {"area": "60 m^2"}, day(2), "phone")
    (back,) = undo_latest([changed], day(3), "phone")
    assert back.text("area") == "6 m^2"
    assert back.text("name") == "South"
    (again,) = undo_latest([back], day(4), "phone")
    assert again.text("area") == "60 m^2"


def test_undo_removes_a_record_that_the_latest_write_created():
    records = [bed(), write_fields(new_record("north", "bed"), {"name": "North"}, day(2), "phone")]
    (gone,) = undo_latest(records, day(3), "phone")
    assert (gone.id, gone.is_removed) == ("north", True)


def test_undo_restores_only_what_this_writer_wrote_and_nobody_overwrote():
    mine = write_fields(bed(), {"area": "6 m^2", "note": "mine"}, day(2), "phone")
    theirs = write_fields(mine, {"area": "7 m^2"}, day(3), "laptop")
    (back,) = undo_latest([theirs], day(4), "phone")
    assert back.text("area") == "7 m^2"
    assert back.text("note") == ""
    assert undo_latest([bed()], day(4), "stranger") == []


def test_undo_restores_all_records_that_were_written_at_one_time():
    records = [write_fields(bed(name), {"note": "wet"}, day(2), "phone") for name in ("a", "b")]
    assert [record.text("note") for record in undo_latest(records, day(3), "phone")] == ["", ""]


def test_a_merge_is_undone_by_the_former_texts_and_by_removing_new_records():
    before = [bed(area="6 m^2")]
    after = merge(before, [bed("north", "North"), write_fields(before[0], {"area": "9 m^2"}, day(3), "laptop")])
    assert undoing_texts(before, after) == {"south": {"area": "6 m^2"}, "north": {"removed": "yes"}}


@pytest.mark.parametrize(
    ("identity", "kind", "field"),
    [("", "bed", "id"), ("a b", "bed", "id"), ("x" * 65, "bed", "id"), ("a\n", "bed", "id"), ("a", "beds", "kind")],
)
def test_a_record_needs_an_id_and_a_known_kind(identity, kind, field):
    with pytest.raises(InputError) as refusal:
        new_record(identity, kind)
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("fields", "at", "by", "place"),
    [
        ({"Name": "x"}, day(1), "phone", "Name"),
        ({"name": "x" * (LONGEST_TEXT + 1)}, day(1), "phone", "name.text"),
        ({"name": "x"}, "2026-05-01", "phone", "name.at"),
        ({"name": "x"}, "2026-02-30T09:00:00.000Z", "phone", "name.at"),
        ({"name": "x"}, day(1), "my phone", "name.by"),
    ],
)
def test_a_write_that_no_file_could_hold_is_refused(fields, at, by, place):
    with pytest.raises(InputError) as refusal:
        write_fields(new_record("a", "bed"), fields, at, by)
    assert refusal.value.field == place


# -- merging --------------------------------------------------------------------------------------------------


def test_the_last_writer_of_each_field_wins_and_the_other_text_becomes_history():
    start = bed(area="6 m^2")
    mine = write_fields(start, {"area": "7 m^2", "note": "mine"}, day(2), "phone")
    theirs = write_fields(start, {"area": "8 m^2"}, day(3), "laptop")
    (both,) = merge([mine], [theirs])
    assert both.texts() == {"name": "South", "area": "8 m^2", "note": "mine"}
    assert [past.text for past in both.history if past.field == "area"] == ["6 m^2", "7 m^2"]


def test_a_merged_book_has_the_records_of_both():
    assert [record.id for record in merge([bed("a")], [bed("b")])] == ["a", "b"]


def test_versions_of_the_same_time_merge_alike_on_both_sides():
    one, other = bed(by="a", area="1 m^2"), bed(by="b", area="2 m^2")
    assert merge([one], [other]) == merge([other], [one])
    assert merge([one], [other])[0].text("area") == "2 m^2"


def test_only_new_and_changed_records_have_to_be_stored():
    before = [bed("a"), bed("b")]
    after = merge(before, [write_fields(bed("b"), {"note": "x"}, day(2), "laptop"), bed("c")])
    assert [record.id for record in changed_records(before, after)] == ["b", "c"]
    assert re.fullmatch("[a-z]", after[0].id)
