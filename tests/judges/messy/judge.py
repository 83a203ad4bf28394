"""Runs one case in a workspace of its own and sorts what came of it.

An outcome is one of
- whole: everything that can be read is stored as it was meant, and the rest is held or flagged with its reason;
- partly: some of it is stored; the rest is held with the cell, the member and what would be right;
- refused: none of it is stored, with the cell or the file, what is wrong, and the way on;
- unclear: as the two before, but a message does not say where, what, or how to go on;
- wrong: a value that was not meant is stored, and no flag names its member.
"""

import re
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

from store import Store, faults, flagged, key, names_member

# A cell, a row, a file or a value that a message quotes.
PLACE = re.compile(
    r"(?<![A-Za-z0-9-])[A-Z]{1,3}[0-9]{1,5}(?![0-9])|\b(row|rows|line|lines) [0-9]+|where:"
    r"|(cannot \w+|refused) \S+\.\w+|cannot use \""
)


@dataclass
class Run:
    """The folder of a case, its workspace, and what the program said."""

    program: str
    folder: Path
    said: list = field(default_factory=list)
    codes: list = field(default_factory=list)

    def bractline(self, *arguments):
        command = [self.program, "--workspace", str(self.folder / "ws"), *map(str, arguments)]
        return subprocess.run(
            command, cwd=self.folder / "files", capture_output=True, text=True, errors="replace", timeout=600
        )

    def office(self, *arguments):
        """A command as the office gives it: what is said is kept."""
        done = self.bractline(*arguments)
        self.said.append((arguments, done.returncode, done.stdout, done.stderr))
        self.codes.append(done.returncode)
        return done

    @property
    def path(self):
        return self.folder / "files"


@dataclass
class Judged:
    """What became of a case: the outcome, and why it is not whole."""

    case: object
    outcome: str
    stored: int
    notes: list
    said: list


def judge(case, program, template, folder):
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "files").mkdir(parents=True)
    shutil.copytree(template, folder / "ws")
    run = Run(program, folder)
    case.make(run.path)
    for step in case.steps:
        if callable(step):
            step(run)
        else:
            run.office(*step)
    store = Store(run)
    outcome, stored, notes = sort(case, run, store)
    return Judged(case, outcome, stored, notes, run.said)


def sort(case, run, store):
    messages = "\n".join(out + err for _, _, out, err in run.said)
    blocks = message_blocks(run, store)
    wrong, right = wrong_values(case, store, messages)
    wrong += [fault for check in case.checks for fault in check(store, run, messages)]
    stored = len(right)
    if wrong:
        return "wrong", stored, wrong
    unclear = [f"exit code {code}" for code in run.codes if code not in (0, 1, 3)]
    unclear += [note for bad in case.bad for note in unexplained(bad, store, blocks, messages)]
    unclear += [note for check in case.clear for note in check(store, run, messages)]
    missing = [visit for visit in case.truth if key(visit) not in right]
    if missing:
        unclear += unexplained_loss(case, blocks)
    if case.held_at_most is not None and len(store.held) > case.held_at_most:
        unclear.append(f"{len(store.held)} records held, where {case.held_at_most} at most are records")
    if unclear:
        return "unclear", stored, unclear
    if not missing and case.truth:
        return "whole", stored, []
    return ("partly" if stored else "refused"), stored, [f"{len(missing)} of {len(case.truth)} visits not stored"]


def wrong_values(case, store, messages):
    """What is stored and was not meant, without a flag that names the member; and the keys of the truth that are right.

    A visit of the truth may say `first_read_as`: what an earlier mapping made of it, which is lost and not wrong if it
    stays; and `known_twice`: it may be stored a second time with other values, which the case checks by itself.
    """
    wrong, right, seen = [], set(), set()
    unless = [bad.unless for bad in case.bad if bad.unless]
    for visit in [*case.truth, *unless]:
        others = store.found(visit)
        seen.update(other["visit_id"] for other in others)
        found = {other["visit_id"]: faults(visit, other, case.tolerance) for other in others}
        if any(not each for each in found.values()):
            right.add(key(visit))
            if "known_twice" in visit:
                continue
        for other in others:
            if "first_read_as" in visit and not faults(visit["first_read_as"], other, case.tolerance):
                continue
            alone = [fault for fault in found[other["visit_id"]] if not flagged(other, fault[0], messages)]
            wrong += [f"{key(visit)}: {member} meant {meant}, stored {have}" for member, meant, have in alone]
    members = [(bad.member, bad.words) for bad in case.bad]
    for other in store.visits:
        if other["visit_id"] in seen:
            continue
        if not any(flagged(other, member, messages, words) for member, words in members):
            names = ", ".join(member for member, _ in members)
            wrong.append(
                f"{key(other)} is stored, and was not to be accepted "
                f"({names or 'no such visit was meant'}): {brief(other)}"
            )
    return wrong, right


def brief(visit):
    names = ("treatment_cost", "market_value", "plant_population", "area_ha", "observer_id", "lon", "lat", "totals")
    return ", ".join(f"{name} {visit[name]}" for name in names)


def message_blocks(run, store):
    """Each finding and each report of a command with what it tells to do, as one text."""
    blocks = [
        (
            f"{row['file_name']} {finding['code']} {finding['pointer']} {finding['found']}; {finding['expected']}",
            bool(finding["expected"]),
        )
        for row in store.held
        for finding in row["findings"]
    ]
    for _, _, out, err in run.said:
        for part in re.split(r"(?m)^(?=error: )", err) + re.split(r"(?m)^(?=\S)", out):
            blocks.append((part, "help:" in part))
        blocks += [(line, True) for line in out.splitlines() if "flag" in line or ": found" in line]
    return blocks


def unexplained(bad, store, blocks, messages):
    """Why a message does not do for what must not be accepted."""
    for text, way in blocks:
        where = any(place.lower() in text.lower() for place in bad.where)
        if where and way and (names_member(text, bad.member, bad.words)):
            return []
    for visit in store.visits:
        if flagged(visit, bad.member, messages, bad.words):
            return []
    return [f"no message names {' or '.join(map(str, bad.where))} with {bad.member} {bad.words or ''} and a way on"]


def unexplained_loss(case, blocks):
    """What is not stored has a message with a place, and with the way on that the case demands."""
    placed = [text for text, way in blocks if way and PLACE.search(text)]
    if not placed:
        return ["no message says where and what to do"]
    if case.way and not any(word.lower() in text.lower() for text in placed for word in case.way):
        return [f"no message tells the way on: {' or '.join(case.way)}"]
    return []
