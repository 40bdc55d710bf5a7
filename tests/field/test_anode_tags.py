ANODE = '[[anode]]\nid = "{id}"\nvessel = "QB-101"\nmaterial = "magnesium"\ntag = "{tag}"\n'
TAGS = (
    "tag,vessel,signal,unit\nQB101_PT,QB-101,vessel_pressure,psig\n"
    "A,QB-101,anode_current,mA\nB,QB-101,anode_current,A\n"
)


def _anodes(*pairs):
    return "".join(ANODE.format(id=name, tag=tag) for name, tag in pairs)


def test_each_current_that_an_anode_names_is_a_signal_of_its_own(read):
    field = read(_anodes(("A1", "A"), ("east", "B")), tags=TAGS)
    assert [row.signal for row in field.tags] == ["vessel_pressure", "anode_current:A1", "anode_current:east"]
    assert field.signals_of("QB-101") == {"vessel_pressure", "anode_current:A1", "anode_current:east"}


def test_currents_that_no_anode_names_stay_one_signal(read):
    assert [row.signal for row in read(tags=TAGS).tags][1:] == ["anode_current", "anode_current"]


def test_a_renamed_tag_keeps_its_anode_at_all_times(read):
    dated = (
        "tag,vessel,signal,unit,from,to\nA,QB-101,anode_current,mA,,2026-05-01\nA,QB-101,anode_current,A,2026-05-01,\n"
    )
    assert {row.signal for row in read(_anodes(("A1", "A")), tags=dated).tags} == {"anode_current:A1"}


def test_an_anode_with_a_tag_that_is_not_there_is_told_which_there_are(problems):
    (problem,) = problems(_anodes(("A1", "C")), tags=TAGS)
    assert "anode A1" in problem
    assert '"C"' in problem
    assert "signal anode_current: A, B" in problem


def test_an_anode_with_a_tag_of_another_signal_is_told_what_it_is(problems):
    (problem,) = problems(_anodes(("A1", "QB101_PT")), tags=TAGS)
    assert "which is vessel_pressure of QB-101" in problem


def test_two_anodes_cannot_share_a_tag(problems):
    (problem,) = problems(_anodes(("A1", "A"), ("A2", "A")), tags=TAGS)
    assert "anode A2" in problem
    assert "which anode A1 has too" in problem


def test_a_line_of_tags_with_a_mistake_is_told_once(problems):
    (problem,) = problems(_anodes(("A1", "A")), tags=TAGS.replace("mA", "bananas"))
    assert "bananas" in problem
