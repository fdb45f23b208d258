"""Sets with one fault, followed from the symptom to the remedy as a technician would: each time
the first proposal is measured, in the terminal and on the page alike.

The bench is a simulated one. What it reads comes from the fault dictionary of the failure; behind
a lost signal the stages put out nothing, behind an oscillator that is off all is off. Meter and
probe load the points as they do on the bench.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pytest
from click.testing import CliRunner, Result
from datasette.app import Datasette
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.diagram import behind_pins, silenced
from pinfolio.plugins.faultfinding.failures import Failure
from pinfolio.plugins.faultfinding.job import worked_out_of
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT
from pinfolio.plugins.readings.checks import find_test_point
from pinfolio.plugins.readings.correction import correct_dc, correct_vpp
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema import print_value
from pinfolio.schema.instruments.ordinary import BUILT_IN

Run = Callable[..., Result]

MOST_READINGS: Final = 6
INSTRUMENTS: Final = BUILT_IN.choose()
LOST: Final = 0.1  # of an amplitude: less of it is no signal
OFF: Final = 0.96  # of a frequency: the line runs 4 % low, beyond what the AFC catches


class Bench:
    """A set with one failed part."""

    def __init__(self, part: str, ref: str, mode: str, oscillator: str | None) -> None:
        self.chip = load_chip(next(p for p in chip_files() if p.stem == part.casefold()))
        self.known = worked_out_of(self.chip)
        dictionary = self.known.dictionary
        self.failure = next(f for f in dictionary.failed if (f.ref, f.mode) == (ref, mode))
        self.reads, self.healthy = dictionary.failed[self.failure], dictionary.healthy
        lost = {at for at in self.reads if self._share(at) < LOST}
        self.silent = silenced(self.chip, lost)
        self.off = {oscillator, *behind_pins(self.chip, [oscillator])} if oscillator else set()

    def _share(self, at: str) -> float:
        """Of its amplitude, what the failure leaves of a signal."""
        healthy_v, now_v = self.healthy[at].vpp_v, self.reads[at].vpp_v
        return now_v / healthy_v if healthy_v and now_v is not None else 1.0

    def read(self, at: str, quantity: str) -> str:
        """What is proposed, measured, as it is typed."""
        name = at.removeprefix("pin ")
        if quantity == OUT_OF_CIRCUIT:
            return f"{at}: {found_of(self.failure) if at == self.failure.ref else 'good'}"
        if quantity == "resistance":
            return f"{name} ohms={print_value(self._ohm(at), 'Ω')}"
        if quantity == "ripple":
            return f"{name} vpp={print_value(1e-3, 'Vpp')}"
        place = find_test_point(self.chip, at)
        if quantity == "dc":
            volts = self.reads[at].dc_v
            assert volts is not None
            gain = correct_dc(1.0, place, INSTRUMENTS).value
            return f"{name} dc={print_value(volts / gain, 'V')}"
        expectation = place.expectation(self.known.dictionary.condition)
        assert expectation is not None
        assert expectation.waveform is not None
        if at in self.silent:
            return f"{name} seen=missing"
        if quantity == "vpp":
            gain = correct_vpp(1.0, place, expectation, INSTRUMENTS).value
            vpp_v = expectation.waveform.vpp_v * min(self._share(at), 1.0)
            return f"{name} vpp={print_value(vpp_v / gain, 'Vpp')}"
        hz = expectation.waveform.frequency_hz * (OFF if at in self.off else 1.0)
        return f"{name} freq={print_value(hz, 'Hz', 6)}"

    def _ohm(self, at: str) -> float:
        off = self.known.off
        column = [point.at for point in off.points].index(at)
        ohm = off.failed[self.failure][column] if self.failure in off.failed else None
        share = 1.0 if ohm is None else ohm / off.healthy[column]
        return off.limits[column].typ * share


def found_of(failure: Failure) -> str:
    """What the failed part itself shows, one lead lifted; a joint is not of the part."""
    mode = failure.mode.split(",")[0]
    return {"joint open": "good", "dried out": "value too low"}.get(mode, mode)


@dataclass(frozen=True)
class Fault:
    """A symptom and what it comes from."""

    part: str
    symptom: str
    ref: str
    mode: str
    fit: str
    """What the remedy must name."""
    oscillator: str | None = None
    """What runs off frequency, where the circuit does not say so itself."""

    def __str__(self) -> str:
        return f"{self.part} {self.ref} {self.mode}"


THE_DEMOS_OWN: Final = (
    Fault("TQZ5752", "picture tears", "X701", "off frequency", "ceramic resonator", "pin 17"),
    Fault("KYE2620", "picture tears", "C501", "leaky, 1000 kΩ", "C0G", "pin 2"),
    Fault("MDQ3724", "no green", "C302", "open", "capacitor"),
)
OTHERS: Final = (
    Fault("KYE2620", "no vertical deflection", "C505", "shorted", "capacitor"),
    Fault("KYE6848", "no colour", "R818", "open", "resistor"),
    Fault("MDQ2216", "no colour", "R742", "open", "resistor"),
    Fault("MDQ4628", "no picture", "C316", "open", "capacitor"),
    Fault("OGX7342", "no picture", "C814", "open", "capacitor"),
    Fault("TQZ5710", "no picture", "C761", "open", "capacitor"),
    Fault("TQZ6209", "no blue", "D403", "shorted", "diode"),
)


@pytest.mark.parametrize("fault", [*THE_DEMOS_OWN, *OTHERS], ids=str)
async def test_from_symptom_to_remedy_by_following_the_proposals(
    fault: Fault, run: Run, site: Datasette
) -> None:
    bench = Bench(fault.part, fault.ref, fault.mode, fault.oscillator)
    taken: list[str] = []
    while True:
        job = await on_page_and_in_terminal(run, site, fault, taken)
        if not job["next"]:
            break
        proposed = job["next"][0]
        taken.append(bench.read(proposed["at"], proposed["quantity"]))
        assert len(taken) <= MOST_READINGS + (fault in OTHERS), taken
    if len(taken) > MOST_READINGS:
        assert taken[-1].startswith(fault.ref), "the part itself, which is to be lifted anyway"

    first = job["suspects"][0]
    assert (first["what"], first["failure"].split(",")[0]) == (fault.ref, fault.mode.split(",")[0])
    assert fault.fit in first["remedy"]
    assert first["check"], "what must read right afterwards"
    assert fault.ref in job["conclusion"]


async def on_page_and_in_terminal(
    run: Run, site: Datasette, fault: Fault, taken: list[str]
) -> dict[str, Any]:
    """The job, which is the same on both: suspects, probabilities, proposals and all."""
    readings = [word for reading in taken for word in ("--reading", reading)]
    printed = run("faultfind", fault.part, "--symptom", fault.symptom, *readings, "--json")
    assert printed.exit_code == 0, printed.output
    address = site.urls.path(f"/chip/{fault.part}/fault-finding.json")
    asked = {"symptom": fault.symptom, "readings": "\n".join(taken)}
    served = await site.client.get(address, params=asked)
    job: dict[str, Any] = json.loads(printed.stdout)
    assert served.json() == job
    return job


@pytest.mark.parametrize("fault", THE_DEMOS_OWN, ids=str)
def test_asked_for_one_reading_after_another_it_comes_to_the_same(fault: Fault, run: Run) -> None:
    """``--interactive``: what it asks for is typed in, until it asks for nothing more."""
    bench = Bench(fault.part, fault.ref, fault.mode, fault.oscillator)
    begun = ("faultfind", fault.part, "--symptom", fault.symptom)
    taken: list[str] = []
    while True:
        readings = [word for reading in taken for word in ("--reading", reading)]
        job = json.loads(run(*begun, *readings, "--json").stdout)
        if not job["next"]:
            break
        taken.append(bench.read(job["next"][0]["at"], job["next"][0]["quantity"]))
    typed = "".join(f"{reading}\n" for reading in taken)
    told = CliRunner().invoke(main, [*begun, "--interactive"], input=f"{typed}\n")
    at_the_end = run(*begun, *readings).stdout.strip()
    assert at_the_end in told.stdout
    assert job["suspects"][0]["said"] in at_the_end
    assert fault.fit in " ".join(at_the_end.split())
    assert "Must read right afterwards: pin" in at_the_end
