"""The whole change-out, stage by stage."""

from advisor.changeout import ChangeOut, change_out

WORK = ChangeOut(
    volume=420.0,
    concentrate=27.5,
    pouring=("Eight buckets of premix.", "Fill up with 245 L of water."),
    reading="5.23 °Brix",
)


def cautions() -> dict[str, str]:
    """Cautions of each stage, by its name."""
    return {stage.name: " ".join(stage.cautions) for stage in change_out(WORK)}


def test_the_order_is_out_clean_in_check():
    """Skim before the cleaner, sludge before the rinse, pumps back before the charge."""
    names = [stage.name for stage in change_out(WORK)]

    assert names == [
        "ready",
        "skim",
        "clean",
        "circulate cleaner",
        "drain",
        "take out",
        "sludge",
        "rinse",
        "drain rinse",
        "residue",
        "put back",
        "charge 1",
        "charge 2",
        "circulate",
        "check",
        "report",
    ]


def test_each_stage_has_the_cautions_that_fit_it():
    """Lock out where somebody reaches in, confined spaces where somebody climbs in, waste where
    something is drained, the air gap where water is drawn, biocide by its data sheet."""
    said = cautions()

    for name in ("skim", "take out", "sludge", "put back"):
        assert "lock it out" in said[name]
    assert "confined spaces" in said["sludge"]
    for name in ("drain", "drain rinse"):
        assert "is waste" in said[name]
    for name in ("rinse", "charge 1"):
        assert "hose" in said[name]
    assert "Water first" in said["charge 1"]
    assert "over the brim" in said["charge 1"]
    assert "Biocide" in said["report"]
    assert "data sheet" in said["clean"]


def test_numbers_stand_where_they_are_needed():
    """What to have ready, how much residue is too much, what the reading should be."""
    text = {stage.name: stage.text for stage in change_out(WORK)}

    assert "27.5 L of concentrate" in text["ready"]
    assert "More than 8.4 L (2 % of the charge): rinse and drain again" in text["residue"]
    assert "not counted" in text["residue"]
    assert "5.23 °Brix" in text["check"]
    assert text["charge 1"] == "Eight buckets of premix."


def test_volumes_are_said_as_the_person_says_them():
    """Gallons, where somebody thinks in gallons."""
    text = " ".join(stage.text for stage in change_out(WORK, lambda volume: f"{volume:.0f} gal"))

    assert "420 gal" in text
    assert " L " not in text.replace("245 L", "")
