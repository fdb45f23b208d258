"""The Datasette plugin: its hooks, with templates and static files beside them.

Datasette imports this package by its entry point, and nothing else may: imported first, it would
import Datasette, which would register it half-initialised.
"""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Any

from datasette import hookimpl


@hookimpl
def register_routes(datasette: Any) -> list[tuple[str, Any]]:
    """Return the routes of all pages; none without a folio."""
    from ..page_context import folio_database
    from ..pages import find_routes

    return find_routes() if folio_database(datasette) is not None else []


@hookimpl
def startup(datasette: Any) -> None:
    """Raise StartupError for a folio that cannot be read, and build all models."""
    from ....schema import chip, note  # noqa: F401  the models of all pages
    from ....schema.instruments import models  # noqa: F401
    from ....schema.model import build_models
    from ..page_context import check_folios

    check_folios(datasette)
    build_models()


@hookimpl
def prepare_jinja2_environment(env: Any, datasette: Any) -> None:
    """Give templates our filters; with a folio, dress Datasette's pages of it in our frame."""
    # The editions of a folio that is served share one environment; each would dress it again.
    if "is_in_our_frame" in env.globals:
        return
    from jinja2 import ChoiceLoader, FileSystemLoader, PrefixLoader

    from ..guarded_pages import is_in_our_frame
    from ..note_markdown import render_markdown
    from ..page_context import folio_database
    from ..table_labels import label_controls

    env.filters["markdown"] = render_markdown
    env.filters["label_controls"] = label_controls
    env.globals["is_in_our_frame"] = is_in_our_frame
    if folio_database(datasette) is not None:
        frame = FileSystemLoader(Path(__file__).with_name("tables"))
        plain = PrefixLoader({"datasette": env.loader})
        env.loader = ChoiceLoader([frame, plain, env.loader])


@hookimpl
def skip_csrf(scope: Any) -> bool:
    """Let a capture through without a token: its origin is checked, and it changes nothing."""
    return bool(scope["type"] == "http" and scope["path"].endswith("/capture"))


@hookimpl
def asgi_wrapper(datasette: Any) -> Any:
    """Return the wrapper that guards the pages of a folio and adds their security headers."""
    from ..guarded_pages import guard_folio_pages

    return lambda app: guard_folio_pages(datasette, app)


@hookimpl(hookwrapper=True)
def handle_exception(
    datasette: Any, request: Any, exception: Exception
) -> Generator[None, Any, None]:
    """Replace the answer to an exception with an error page of our own, on pages of a folio."""
    from ..failures import answer_while_handled, build_failure_answer

    answers = yield
    ours = build_failure_answer(datasette, request, exception)
    if ours is not None:
        answers.force_result([ours])
    else:
        response = answers.get_result()
        answers.force_result([answer_while_handled(exception, each) for each in response])
