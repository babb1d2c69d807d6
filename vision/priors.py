"""How wide the unknowns may be before any evidence: every prior of the joint solution in one table.

Standard deviations. "common practice, no source" unless a source is named; the spreads were chosen before any picture
was measured and are drawn again, not smaller, by the simulation studies.
"""

from __future__ import annotations

PHOTO_FOCAL_REL_SD = 0.002  # focus and stabiliser from picture to picture; Jasinska et al., Sensors 23:728 (2023)
PHOTO_CENTRE_SD_PX = 3.0
UNKNOWN_TURN_CENTRE_SD_PX = 20.0

WALL_SQUARENESS = 3e-3  # direction of a wall's edge, rad; DIN 18202 table 3 allows about as much over a storey
OPENING_SQUARENESS = 5e-3  # direction of an opening's edge, rad
WALL_BOW_SD_MM = 2.0  # deflection of an edge at its middle
OPENING_BOW_SD_MM = 0.7
SURFACE_SD_MM = (3.0, 3.0, 3.0)  # bulge across, bulge up, twist, at the wall's edge; DIN 18202 table 3: 10 mm over 4 m

REVEAL_SPLAY_SD = 0.012  # side faces out of square, rad, where the pictures cannot show it
REVEAL_SPLAY_WIDE_SD = 0.06  # the same where they can
REVEAL_WARP_SD_MM = 2.0  # a back corner off the plane of its two side faces
FRAME_TILT_SD = 3e-3  # frame out of the wall's plane, rad
REVEAL_DEPTH_MEAN_MM = 200.0
REVEAL_DEPTH_SD_MM = 400.0

REFERENCE_TILT_SD = 0.010  # a sheet or card not quite flush, rad
REFERENCE_STANDOFF_MM = {"survey_sheet": 0.5, "a4": 0.5, "id1_card": 0.9, "rectangle": 0.5}  # paper and tape; card 0.76
REFERENCE_STANDOFF_SD_MM = 0.5
PRINT_ASPECT_SD = 5e-4  # a printer's feed against its width
# An edge in a picture is not quite where the surfaces meet: shadow, rounding, glare and paint move the whole of it.
WALL_EDGE_SHIFT_SD_PX = 0.3
OPENING_EDGE_SHIFT_SD_PX = 0.6
FRAME_EDGE_SHIFT_SD_PX = 0.8  # plaster against joinery: the frame, and a window board at an opening's foot
PROUD_EDGE_SHIFT_SD_PX = 1.0  # the foot of a skirting: a gap or carpet hides it

LOOSE_SD_MM = 2.0e4  # a place on the wall that nothing else holds
"""
Loose enough to be no information, tight enough that an unseen corner keeps the normal equations regular.
"""
