from hypothesis import given
from hypothesis import strategies as st

from nightgauge.adopt import merged_tags, merged_toml

DRAFT = """name = "a"
time_zone = "UTC"

[[vessel]]
id = "V-1"
service = "separator"
# length = "? ft"    # drawing
[vessel.water_dump]
# cv = ?
"""


def test_an_untouched_draft_is_drafted_anew() -> None:
    new = DRAFT.replace("# cv = ?", "cv = 90")
    assert merged_toml(DRAFT, DRAFT, new) == new


def test_a_filled_blank_stays() -> None:
    now = DRAFT.replace('# length = "? ft"    # drawing', 'length = "20 ft"')
    assert merged_toml(DRAFT, now, DRAFT) == now


def test_a_vessel_taken_out_stays_out_and_a_new_one_comes_in() -> None:
    gone = DRAFT.split("\n[[vessel]]")[0] + "\n"
    new = DRAFT + '\n[[vessel]]\nid = "V-2"\nservice = "separator"\n'
    merged = merged_toml(DRAFT, gone, new)
    assert "V-1" not in merged
    assert 'id = "V-2"' in merged


def test_a_key_that_the_data_now_tell_joins_its_table() -> None:
    new = DRAFT.replace("[vessel.water_dump]\n", '[vessel.water_dump]\naction = "snap"\n')
    merged = merged_toml(DRAFT, DRAFT + "# mine\n", new)
    assert 'action = "snap"' in merged.split("[vessel.water_dump]")[1]
    assert merged.endswith("# mine\n")


_CELL = st.sampled_from(["V-1", "V-2", "V-3"])
_TABLE = st.dictionaries(st.sampled_from("ABCDE"), _CELL)


def table(rows: dict[str, str]) -> str:
    return "tag,vessel\n" + "".join(f"{tag},{vessel}\n" for tag, vessel in rows.items())


@given(_TABLE, _TABLE, _TABLE)
def test_rows_follow_the_three_way_rule(last: dict[str, str], now: dict[str, str], new: dict[str, str]) -> None:
    merged = dict(line.split(",") for line in merged_tags(table(last), table(now), table(new)).splitlines()[1:])
    for tag in "ABCDE":
        if tag in now and now[tag] != last.get(tag):
            assert merged[tag] == now[tag]  # a person's
        elif tag in now:
            assert merged.get(tag) == new.get(tag)  # ours: as drafted now, or gone
        elif tag in last:
            assert tag not in merged  # taken out
        else:
            assert merged.get(tag) == new.get(tag)
