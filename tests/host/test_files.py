"""A file is there whole or not at all, however the writing ends."""

import pytest
from hotfuel.errors import InputError
from hotfuel.files import whole


@pytest.mark.parametrize("end", [KeyboardInterrupt, OSError(28, "No space left on device"), ValueError])
@pytest.mark.parametrize("before", [None, "the older one"])
def test_a_writing_that_does_not_end_well_leaves_nothing(tmp_path, end, before):
    target = tmp_path / "sunday.csv"
    if before:
        target.write_text(before)
    with pytest.raises((KeyboardInterrupt, ValueError)) as told, whole(target) as part:
        part.write_text("half")
        raise end
    if isinstance(end, OSError):
        assert told.type is InputError
        assert str(told.value).startswith(f"{target} cannot be written (No space left on device)")
    assert [path.name for path in tmp_path.iterdir()] == (["sunday.csv"] if before else [])
    if before:
        assert target.read_text() == before


def test_a_whole_one_takes_the_place(tmp_path):
    target = tmp_path / "new folder" / "sunday.csv"
    for text in ("first", "second"):
        with whole(target) as part:
            assert part.suffix == ".csv"  # some writers go by the ending
            part.write_text(text)
        assert target.read_text() == text
    assert list(target.parent.iterdir()) == [target]
