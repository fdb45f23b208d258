"""Decide whose bundle it is and whether its key may sign for that shop.

A shop is known by its first key. Its name here is its handle, or another name where two shops
have one handle. Statements of all bundles that are merged together count before any of them is
judged, so their order does not matter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ...schema.errors import PinfolioError
from ..keys.key_statements import ShopKeys, Statement, judge_keys
from ..keys.signing_key import format_fingerprint
from ..keys.statement_files import KEYS, load_keys
from .bundle_reading import Bundle
from .known_shops import KnownShop
from .shop_folder import Shop, check_handle


class MergeError(PinfolioError):
    """The bundle is refused; the message gives the reason and the remedy. Nothing was written."""


@dataclass(frozen=True)
class Sender:
    """The shop that signed some bundles."""

    name: str
    """Its name here: the key of ``shops.toml`` and the folder in ``received/``."""
    known: KnownShop
    """What is known of it once its statements are merged; of the own shop, its key only."""
    keys: ShopKeys
    new_statements: tuple[Statement, ...]
    """Statements that are not in the folder yet."""
    is_new: bool = False
    """Whether it was not known before."""
    is_own: bool = False
    """Whether it is the own shop, perhaps another computer of it."""
    has_changed_key: bool = False
    """Whether it changed its key since its latest bundle."""


def identify_senders(
    shop: Shop, known: Mapping[str, KnownShop], bundles: Sequence[Bundle], name: str | None = None
) -> dict[str, Sender]:
    """Return the sender of each bundle by the first key of its shop.

    ``name`` is the name here of the only shop among them that is not known yet.

    Raises MergeError for a shop whose name is another's, a muted one, and a key that may not sign.
    """
    of_shop: dict[str, list[Bundle]] = {}
    for bundle in bundles:
        of_shop.setdefault(bundle.manifest.first_key, []).append(bundle)
    names = _name_senders(shop, known, of_shop, name)
    return {
        first_key: _judge_sender(shop, known.get(names[first_key]), names[first_key], theirs)
        for first_key, theirs in of_shop.items()
    }


def _name_senders(
    shop: Shop,
    known: Mapping[str, KnownShop],
    of_shop: Mapping[str, list[Bundle]],
    name: str | None,
) -> dict[str, str]:
    """Return the name here of each shop, by its first key. Raises MergeError, ShopError."""
    taken = {one.public_key: handle for handle, one in known.items()}
    taken[shop.public_key.hex()] = shop.handle
    unknown = [key for key in of_shop if key not in taken]
    if name is not None:
        check_handle(name, "--as ")
        if len(unknown) != 1:
            raise MergeError(
                f"--as {name} names one shop that is not known yet; these bundles have"
                f" {len(unknown)}; merge them one by one"
            )
    for key in unknown:
        bundle = of_shop[key][0]
        chosen = name or bundle.manifest.shop
        if chosen in taken.values():
            held = next(first for first, handle in taken.items() if handle == chosen)
            raise MergeError(_describe_same_name(bundle, chosen, held, shop))
        taken[key] = chosen
    return {key: taken[key] for key in of_shop}


def _judge_sender(
    shop: Shop, known: KnownShop | None, name: str, bundles: Sequence[Bundle]
) -> Sender:
    """Return the sender of some bundles of one shop. Raises MergeError."""
    first_key = bundles[0].manifest.first_key
    is_own = first_key == shop.public_key.hex()
    folder = shop.folder / KEYS if is_own else shop.received / name / KEYS
    held = load_keys(folder, first_key, to_remember=shop.has_private_key())
    statements = [statement for bundle in bundles for statement in bundle.statements]
    keys = judge_keys(first_key, statements, held.counting)
    if keys.rivals:
        raise MergeError(_describe_rivals(bundles[0], name, keys))
    if known is not None and known.state == "muted":
        listen = f"pinfolio shops trust {name}"
        raise MergeError(f"{bundles[0].path}: {name} is muted; to hear it again: {listen}")
    for bundle in bundles:
        if reason := keys.explain_refusal(bundle.manifest.public_key):
            remedy = f"ask {name} for a new bundle"
            raise MergeError(f"{bundle.path}: its key may not sign for {name}: {reason}; {remedy}")
    current = keys.current or first_key
    before = known or KnownShop(first_key, handle=bundles[0].manifest.shop)
    has_changed_key = known is not None and before.key != current
    # Trust is in the key that was compared by voice.
    state = "known" if has_changed_key and before.state == "trusted" else before.state
    after = replace(before, state=state, current_key=current)
    new = tuple(s for s in keys.counting if s.digest not in {h.digest for h in held.counting})
    return Sender(name, after, keys, new, known is None and not is_own, is_own, has_changed_key)


def _describe_same_name(bundle: Bundle, name: str, held_key: str, shop: Shop) -> str:
    now = format_fingerprint(bytes.fromhex(bundle.manifest.first_key))
    held = format_fingerprint(bytes.fromhex(held_key))
    whose = "your own shop" if name == shop.handle else f"the shop {name}"
    return (
        f"{bundle.path}: THE KEY HAS CHANGED. This bundle says it is from {whose}, but is signed"
        f" with another key:\n  known so far  {held}\n  this bundle   {now}\n"
        f"Somebody may be using that name. Ring them up and compare. If it is another shop of the"
        f" same name, or they began anew, keep it beside the one known so far under a name of your"
        f" own: pinfolio merge FILE --as {name}-2"
    )


def _describe_rivals(bundle: Bundle, name: str, keys: ShopKeys) -> str:
    reads = [format_fingerprint(bytes.fromhex(s.key)) for s in (*keys.rotations, *keys.rivals)]
    return (
        f"{bundle.path}: THE KEY OF {name} HAS CHANGED TWICE, and the two changes contradict each"
        f" other: {', '.join(dict.fromkeys(reads))}. Somebody else has their old key. Ring them up;"
        " if the change known here is not theirs, mute the shop and ask for a bundle of a new one"
    )
