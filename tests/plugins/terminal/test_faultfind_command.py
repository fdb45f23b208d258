"""From a symptom and a few readings to the part that failed: the demo's two sets, and the faces."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.data_demo import chip_files
from pinfolio.loaders import Folio
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.diagnosis.answers.job_document import make_job_document
from pinfolio.plugins.diagnosis.symptoms.catalogue import UnknownSymptom
from pinfolio.plugins.diagnosis.weighing.known_board import find_working_condition
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN

Run = Callable[..., Result]
DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")


def read_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def hunt_fault(stem: str, symptom: str, *readings: str) -> Job:
    return find_fault(read_chip(stem), [symptom], [read_line(r) for r in readings], DIGITISING)


def list_named(job: Job, most: int = 3) -> list[str]:
    return [suspect.hypothesis.what for suspect in job.suspects[:most]]


def test_the_portable_whose_picture_tears() -> None:
    """Its resonator, held in a test oscillator, is off frequency: that is the fault."""
    job = hunt_fault("tqz5752", "picture tears", "17 freq=488kHz", "X701: off frequency")
    assert list_named(job, 1) == ["X701"]
    assert job.conclusion.startswith("X701 proved bad.")


def test_the_older_portable_with_the_leaky_timing_capacitor() -> None:
    job = hunt_fault("kye2620", "picture tears", "2 dc=3V", "18 dc=12V", "C501: leaky")
    assert list_named(job, 1) == ["C501"]
    assert job.suspects[0].hypothesis.failure.startswith("leaky")
    assert "C0G" in job.suspects[0].remedy.fit or "film" in job.suspects[0].remedy.fit


def test_the_monitor_with_one_colour_missing() -> None:
    """Green comes to the socket and not to the pin: the capacitor between is open."""
    job = hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp")
    assert list_named(job, 1) == ["C302"]
    assert job.suspects[0].hypothesis.failure == "open"
    assert "pin 2" in job.suspects[0].remedy.check


def test_before_that_the_socket_is_what_to_look_at() -> None:
    job = hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp")
    assert ("socket-a-green", "vpp") in [(s.at, s.quantity) for s in job.measurements[:3]]


@pytest.mark.parametrize("path", chip_files()[::4], ids=lambda path: path.stem)
def test_dangerous_points_are_never_proposed(path: object) -> None:
    found = load_chip(path)  # type: ignore[arg-type]
    forbidden = {hazard.at for hazard in found.hazards if not hazard.probe}
    for told in ([], ["no picture"], ["no raster"]):
        job = find_fault(found, told, [], DIGITISING)
        assert not forbidden & {step.at for step in job.steps}


def test_an_unknown_symptom_names_those_there_are() -> None:
    with pytest.raises(
        UnknownSymptom, match=r"nearest: .*; there are: set clicks and stays dark, no picture"
    ):
        hunt_fault("tqz5752", "smells odd")


def test_the_working_condition_is_the_one_with_signals() -> None:
    assert find_working_condition(read_chip("tqz5752")) == "colour bars"


def test_the_document_keeps_its_contract() -> None:
    document = make_job_document(hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp"))
    assert {"part", "symptoms", "readings", "suspects", "next", "contradictions"} <= set(document)
    assert {"actions", "again", "cleared", "conclusion", "others"} <= set(document)
    suspect, proposed = document["suspects"][0], document["next"][0]
    assert {"what", "kind", "failure", "probability", "because", "prove", "remedy"} <= set(suspect)
    assert {"at", "quantity", "should_read", "outcomes", "cautions", "minutes"} <= set(proposed)
    total = sum(one["probability"] for one in document["suspects"]) + document["others"]
    assert total == pytest.approx(1)


def test_in_the_terminal(run: Run) -> None:
    """The proof of the leading suspect is printed once, as the next step."""
    found = ("--reading", "2 vpp=0.01Vpp", "--reading", "socket-a-green vpp=0.7Vpp")
    told = run("faultfind", "MDQ3724", "--symptom", "no green", *found)
    assert told.exit_code == 0
    assert "C302, 104J capacitor: open" in told.stdout
    assert "\nProve C302: suspected open.\n" in told.stdout
    assert told.stdout.count("  - Set off: measure it out of circuit") == 1
    assert "Next, see below." in told.stdout
    assert "lift one lead" not in told.stdout
    assert "\n  Caution: Set off, plug out" in told.stdout


def test_a_quick_look_with_the_set_on_goes_before_a_capacitor_held_across() -> None:
    """One look at the socket parts the cable from C302; for the other the set is switched off."""
    first = hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp").steps[0]
    assert (first.kind, first.at, first.quantity) == ("measure", "socket-a-green", "vpp")
    seen = hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp").steps[0]
    assert (seen.kind, seen.at, seen.is_bridge) == ("prove", "C302", True)


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("TQZ5725",), 1, "no chip 'TQZ5725'"),
        (("TQZ5752", "--symptom", "x"), 1, "no symptom 'x'"),
        (("TQZ5752", "--reading", "17"), 2, "expected a place and figures"),
        (("TQZ5752", "--reading", "99 dc=1V"), 1, "no pin '99'"),
    ],
)
def test_what_cannot_be_weighed(
    run: Run, arguments: tuple[str, ...], status: int, said: str
) -> None:
    told = run("faultfind", *arguments)
    assert (told.exit_code, said in told.stderr) == (status, True), told.output


async def test_page_and_command_say_the_same(run: Run, site: Datasette) -> None:
    printed = run(
        "faultfind", "MDQ3724", "--symptom", "no green", "--reading", "2 vpp=0.01Vpp", "--json"
    )
    address = "/chip/MDQ3724/fault-finding{}?symptom=no+green&readings=2+vpp%3D0.01Vpp"
    served = await site.client.get(address.format(".json"))
    assert served.json() == json.loads(printed.stdout)
    html = (await site.client.get(address.format(""))).text
    bench = json.loads(printed.stdout)
    for suspect in bench["suspects"][:2]:
        assert suspect["thing"].removeprefix("from outside: ") in html
    assert "To be read" in html


async def test_the_page_says_what_it_does_not_understand(site: Datasette) -> None:
    answer = await site.client.get("/chip/MDQ3724/fault-finding?readings=2+flooby")
    assert answer.status_code == 200
    assert "expected a place and figures" in answer.text
    assert (await site.client.get("/chip/NONE/fault-finding")).status_code == 404


def test_what_a_failure_would_change_is_told(run: Run) -> None:
    """C501 shorted takes pin 2 to ground: 6 V and 4 Vpp are gone."""
    told = run("faultfind", "KYE2620", "--if", "c501", "--json")
    shorted = next(one for one in json.loads(told.stdout)["what_if"] if one["failure"] == "shorted")
    (dc,) = (c for c in shorted["would_read"] if (c["at"], c["quantity"]) == ("pin 2", "dc"))
    assert dc["should_read_v"] == pytest.approx(6, rel=0.05)
    assert dc["would_read_v"] == pytest.approx(0, abs=0.1)
    assert "If C501 shorted:" in run("faultfind", "KYE2620", "--if", "C501").stdout


def test_of_a_part_that_is_not_there_nothing_was_worked_out(run: Run) -> None:
    told = run("faultfind", "KYE2620", "--if", "C599")
    assert told.exit_code == 1
    assert "nothing is known of how 'C599' fails; nearest: C50" in told.stderr


async def test_the_page_tells_what_the_command_tells(run: Run, site: Datasette) -> None:
    printed = run("faultfind", "KYE2620", "--if", "C501", "--json")
    served = await site.client.get("/chip/KYE2620/fault-finding.json?if=C501")
    assert served.json() == json.loads(printed.stdout)
    html = (await site.client.get("/chip/KYE2620/fault-finding?if=C501")).text
    assert "If C501 had failed" in html


def test_the_symptoms_are_listed(run: Run) -> None:
    listed = run("faultfind", "TQZ5752", "--symptoms", "--json")
    assert json.loads(listed.stdout)["symptoms"][0]["symptom"] == "set clicks and stays dark"
    assert "no vertical deflection" in run("faultfind", "TQZ5752", "--symptoms").stdout


async def test_the_next_probe_comes_with_its_picture_and_cautions(site: Datasette) -> None:
    """A look at the socket comes first; when its signal is there, the proof of C302."""
    address = "/chip/MDQ3724/fault-finding?symptom=no+green&readings=2+vpp%3D0.01Vpp"
    seen = f"{address}%0Asocket-a-green+vpp%3D0.7Vpp"
    proof = (await site.client.get(seen)).text
    assert "Prove it before you fit anything" in proof
    assert "Set off, plug out, capacitors discharged" in proof
    probe = (await site.client.get(address)).text
    assert 'class="scope-picture' in probe
    assert 'aria-label="MDQ3724 green of socket A, after the cable' in probe
    assert "The mains side of the power supply is live" in probe
    for html in (proof, probe):
        assert "What each would mean" in html


def test_each_outcome_says_what_would_lead_then() -> None:
    proposed = make_job_document(hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp"))["next"][0]
    assert sum(one["chance"] for one in proposed["outcomes"]) <= 1 + 1e-9
    assert all(one["then"] for one in proposed["outcomes"])


def test_of_a_signal_that_is_missing_no_frequency_is_asked() -> None:
    job = hunt_fault("mdq3724", "no green", "2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp")
    assert ("pin 2", "frequency") not in {(step.at, step.quantity) for step in job.steps}


def test_a_shops_own_odds_are_taken(run: Run, shop: Shop) -> None:
    asked = ("faultfind", "MDQ3724", "--symptom", "no green", "--json")

    def stages(document: dict[str, Any]) -> float:
        return sum(s["probability"] for s in document["suspects"] if s["kind"] == "stage")

    before = stages(json.loads(run(*asked).stdout))
    (shop.folder / "odds.yaml").write_text("stage dead: 300\n", encoding="utf-8")
    assert stages(json.loads(run(*asked).stdout)) > before
    (shop.folder / "odds.yaml").write_text("stage ded: 300\n", encoding="utf-8")
    refused = run(*asked)
    assert refused.exit_code == 2
    assert "odds.yaml:1:1: 'stage ded'" in refused.stderr
    assert "write 'stage dead'" in refused.stderr


def test_what_has_failed_before_is_likelier(demo: Folio) -> None:
    """Notes of the demo tell of three sets whose X701 jumped to another frequency."""
    found = demo.chip("TQZ5752")
    without = find_fault(found, ["picture tears"], [], DIGITISING)
    with_notes = find_fault(found, ["picture tears"], [], DIGITISING, None, demo.notes("TQZ5752"))

    def chance(job: Job) -> float:
        return job.found.share_of(("part", "X701"))

    assert chance(with_notes) > 2 * chance(without)
    untold = ("part", "R708")  # of it no note tells: it gives way
    assert 0 < with_notes.found.share_of(untold) < without.found.share_of(untold)
