"""Areas and whether they meet. The date line is the hard part."""

import pytest
from planting import codes_in

COUPLET = "couplet 1\n    1a characteristic_frequency < 20 kHz => Examplia a\n    1b otherwise => Examplia b\n"


@pytest.mark.parametrize(
    ("region", "occurs", "meet"),
    [
        ((-34, -33, 150, 151), (-40, -30, 140, 160), True),
        ((-34, -33, 150, 151), (-33, -30, 151, 160), True),
        ((-34, -33, 150, 151), (-32, -30, 140, 160), False),
        ((-34, -33, 150, 151), (-40, -30, 152, 160), False),
        ((-48, -34, 166, -176), (-44, -43, -177, -176), True),
        ((-48, -34, 166, -176), (-44, -43, 170, 171), True),
        ((-48, -34, 166, -176), (-44, -43, -170, -160), False),
        ((-48, -34, 166, 180), (-44, -43, -180, -170), True),
        ((-48, -34, 166, -176), (-44, -43, 178, -178), True),
    ],
)
def test_areas(region, occurs, meet):
    words = ["south {} north {} west {} east {}".format(*each) for each in (region, occurs)]
    head = f'key "places" version 1\nregion {words[0]}\ntaxon Examplia a\n    occurs {words[1]}\ntaxon Examplia b\n'
    assert codes_in(COUPLET, head) == ([] if meet else ["K408"])
