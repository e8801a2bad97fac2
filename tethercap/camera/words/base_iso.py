"""The sensitivity to photograph film at: where the sensor is read without extra gain, and has the most room.

It cannot be read from the choices: lists begin below it (pulled values show as plain numbers) or far below (Sony
prints 25 that bodies refuse). Values from memory, after the makers' published specifications; what is not listed
follows the rule in `base_iso`.
"""

import re
from collections.abc import Iterable

from tethercap.camera.words.understanding import BaseIso
from tethercap.exposure.stops import same_setting

_BY_MODEL: tuple[tuple[str, float], ...] = (
    (r"z ?[789](_2|_?ii)?", 64),
    (r"d8[15]0a?", 64),
    (r"d(2hs|50|70s?|40x?|80|90|200|300s?|700|3[sx]?)", 200),
    (r"x-t[34]|x-t30( ii)?|x-pro3|x-e4|x-s10|x100v|x-h2s|x-s20", 160),
    (r"x-t[12]|x-t[12]0|x-pro[12]|x-e[123]|x-h1|x-a5|x100[tf]", 200),
    (r"x-t5|x-h2|x-t50|x100vi", 125),
    (r"gfx ?100 ?ii|gfx ?100s ?ii", 80),
    (r"e-m1( ?mark ?i{2,3}|x)?|e-m5( ?mark ?i{2,3})?|e-m10.*|e-p.*|pen-f|om-1.*|om-5.*", 200),
    (r"dmc-g.*|dc-g9|dc-gh5", 200),
    (r"ilce-7sm3", 80),
    (r"dsc-rx0(m2)?|dsc-rx100m[3-7]a?|zv-1.*", 125),
    (r".*powershot g9|.*powershot (a6[24]0|sx100 is)", 80),
)
_MAKER_WORDS = re.compile(
    r"^(nikon corporation|nikon|canon|sony|fujifilm|olympus|om digital solutions|panasonic)\s+", re.IGNORECASE
)


def base_iso(model: str, offered: Iterable[float]) -> BaseIso | None:
    """Propose the base sensitivity of a camera.

    Parameters
    ----------
    model : str
        Model name as the camera gives it.
    offered : iterable of float
        Sensitivities in its list.

    Returns
    -------
    BaseIso or None
        The table's value if the camera offers it; else, marked as a proposal, 100 if offered, the smallest from 100
        up, or the largest there is. None where the list is empty.
    """
    figures = sorted(offered)
    if not figures:
        return None
    plain = _MAKER_WORDS.sub("", model.strip()).casefold()
    known = next((iso for pattern, iso in _BY_MODEL if re.fullmatch(pattern, plain)), None)
    if known is not None and any(same_setting(known, figure) for figure in figures):
        return BaseIso(known, certain=True)
    return BaseIso(next((figure for figure in figures if figure >= 100), figures[-1]), certain=False)
