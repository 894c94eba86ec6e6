"""What is missing from a log, in words."""

import pytest
from hotfuel.samples.losses import Gap, Losses


@pytest.mark.parametrize(
    ("length_s", "said"), [(0.0, []), (0.04, []), (0.3, ["Nothing was received for 0.3 s because the recording ended."])]
)
def test_the_end_of_a_recording_is_no_loss_unless_time_is_missing(length_s, said):
    assert Losses(gaps=[Gap(0.0, length_s, "recording_ended", 1, 0.0)]).sentences() == said
    assert Losses(gaps=[Gap(0.0, 0.0, "disk_full", 1, 0.0)]).sentences()  # what stopped it is told however short it was
