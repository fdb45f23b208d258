"""Symptoms as small pictures of a set's screen: one scene of sun, hill and post.

Drawn from the words of each symptom alone.
"""

from __future__ import annotations

from typing import Final

_BLACK: Final = "#101314"
_GOOD: Final = ("#7fb2d6", "#e8b52f", "#4e8f4a", "#b4412f")
_STRIPES: Final = ("#4e8f4a", "#e8b52f", "#b4412f")


def _draw_scene(sky: str, sun: str, hill: str, post: str, extra: str = "") -> str:
    """Return the scene in four colours, 96 by 72 units."""
    return (
        f'<g{extra}><path fill="{sky}" d="M0 0h96v72H0z"/><circle cx="26" cy="22" r="11"'
        f' fill="{sun}"/><path fill="{hill}" d="M0 54q26-22 52-6t44-10v34H0z"/>'
        f'<path fill="{post}" d="M70 18h8v40h-8z"/></g>'
    )


def _draw_twice(path: str) -> str:
    """Return a line in black on a white edge, seen on any ground."""
    return "".join(
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width}"/>'
        for colour, width in (("#fff", 6), (_BLACK, 3))
    )


def _draw_stripes() -> str:
    stripes = (
        f'<path d="M{26 * n - 40} 0h12l-40 72h-12z" fill="{_STRIPES[n % 3]}"/>'
        f'<path d="M{26 * n - 28} 0h5l-40 72h-5z" fill="{_BLACK}"/>'
        for n in range(6)
    )
    return f'<path fill="{_GOOD[0]}" d="M0 0h96v72H0z"/>{"".join(stripes)}'


_SCREENS: Final = {
    "no colour": _draw_scene("#a9a9a9", "#d0d0d0", "#727272", "#555"),
    "weak colour": _draw_scene("#a3b4be", "#d3c79c", "#76877a", "#7d6764"),
    "wrong hue": _draw_scene("#b98fd0", "#5fd07a", "#b0607a", "#3f6fd0"),
    "no red": _draw_scene("#5cb5d0", "#7fc030", "#2f9560", "#12483a"),
    "no green": _draw_scene("#a46fd6", "#e0407a", "#5a3f70", "#b4207f"),
    "no blue": _draw_scene("#8fa83a", "#e8c400", "#4e8f10", "#b43a00"),
    "picture tears": _draw_stripes(),
    "picture rolls": (
        _draw_scene(*_GOOD, ' transform="translate(0 -40)"')
        + f'<path d="M0 32h96v9H0z" fill="{_BLACK}"/>'
        + _draw_scene(*_GOOD, ' transform="translate(0 41)"')
        + _draw_twice("M86 60V14M80 22l6-9 6 9")
    ),
    "no vertical deflection": (
        '<path d="M0 35h96v2H0z" fill="#fff"/><path d="M0 33.5h96M0 38.5h96" stroke="#9fb4c0"/>'
    ),
    "little height": _draw_scene(*_GOOD, ' transform="translate(0 18) scale(1 .5)"'),
    "hum bars": _draw_scene(*_GOOD)
    + f'<path d="M0 8h96v15H0zM0 44h96v15H0z" fill="{_BLACK}" opacity=".62"/>',
    "dark picture": _draw_scene(*_GOOD, ' opacity=".3"'),
    "no picture": '<path d="M0 0h96v72H0z" fill="#8d979b"/><path d="'
    + "".join(f"M0 {y}h96" for y in range(3, 72, 5))
    + '" stroke="#7a8488"/>',
    "set clicks and stays dark": (
        '<path d="M48 24v13M40 29a13 13 0 1 0 16 0" fill="none" stroke="#dfe5e7" stroke-width="3"/>'
    ),
    "no line drive": '<path d="M32 20l32 32M64 20L32 52" stroke="#5d676b" stroke-width="4"/>',
    "no sound": (
        _draw_scene(*_GOOD)
        + f'<path d="M50 30h8l12-10v32L58 42h-8z" fill="#fff" stroke="{_BLACK}" stroke-width="2"/>'
        + _draw_twice("M76 28l14 16M90 28L76 44")
    ),
}
_OTHER: Final = _draw_scene(*_GOOD)


def draw_symptom(name: str) -> str:
    """Return the screen of a set with a symptom as SVG; a good picture for one not drawn."""
    return (
        '<svg class="tv" viewBox="0 0 108 84" aria-hidden="true"><rect class="case" x="1" y="1"'
        ' width="106" height="82" rx="9" fill="#2b343b" stroke="#68757c"/>'
        f'<svg x="6" y="6" width="96" height="72"><path d="M0 0h96v72H0z" fill="{_BLACK}"/>'
        f"{_SCREENS.get(name, _OTHER)}</svg></svg>"
    )
