"""Questions a photographer asks, each answered from values to values.

Size        throw, lens_for, place_for, landing, landed_outline, landed_light, opening, straightened, stops_for_distance
Edges       sharpness, blur, focus_curve, compromise, fringe, cures, shown_edge, with_lens, camera_blur
Light       meter, meters, losses, light_at, contrast, contrast_where_it_lands, ambient_for, veil
Filters     filter_list, filters_in
Time        flash_in_shutter, smear_mm, flash_length_s, flicker
Pictures    marked, stops_around, histogram, clipping (each of a picture that `projector.preview` made)
Choosing    place (with Wishes), changes_for, sheet, comparison (with Axis)
Lenses      measure (with EdgePhotograph and SetUp), scale_from, lens_file_text

Some take numbers and need no scene:

>>> from projector import studies
>>> found = studies.throw(focal_length_mm=85, lit_width_mm=36, throw_m=2.5)
>>> round(found.width_m, 3), round(found.beam_angle_deg, 1)
(1.023, 23.1)

Every answer is a frozen dataclass whose fields end in their units. What cannot be answered raises `SceneError`, which
says what was found, what is allowed and what to try. The file beside this one with the ending .pyi says where each
name lives; nothing is imported before its first use.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
