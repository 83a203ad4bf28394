"""The outcomes as a table in Markdown: classes by outcomes, and a line for each case."""

from collections import Counter

OUTCOMES = ["whole", "partly", "refused", "unclear", "wrong", "broken"]


def counted(judged):
    return dict(Counter(each.outcome for each in judged))


def share_whole(judged):
    """Of the cases that hold something to be read."""
    readable = [each for each in judged if each.case.truth]
    return sum(each.outcome == "whole" for each in readable) / max(len(readable), 1)


def table(judged):
    kinds = list(dict.fromkeys(each.case.kind for each in judged))
    lines = [
        "# Messy files, and what became of each",
        "",
        "Written by `run.py` in this folder. All files and figures are invented. What an outcome means is said in",
        "`judge.py`; a class is described in the module of its cases.",
        "",
        f"{len(judged)} cases; of those that hold something to be read {share_whole(judged):.0%} were read wholly.",
        "",
        f"| class | {' | '.join(OUTCOMES[:-1])} | all |",
        f"|---|{'--:|' * len(OUTCOMES)}",
    ]
    for kind in [*kinds, None]:
        of_kind = Counter(each.outcome for each in judged if kind in (None, each.case.kind))
        cells = [str(of_kind[outcome] or "") for outcome in OUTCOMES[:-1]]
        lines.append(f"| {kind or 'all'} | {' | '.join(cells)} | {sum(of_kind.values())} |")
    lines += ["", "| case | what was done | outcome | why |", "|---|---|---|---|"]
    for each in judged:
        why = "; ".join(map(str, each.notes))
        lines.append(f"| {each.case.id} | {cell(each.case.story)} | {each.outcome} | {cell(why[:240])} |")
    return "\n".join(lines) + "\n"


def worse(judged, before):
    """The cases that came out worse than a table says that was written before."""
    cells = [[part.strip() for part in line.split(" | ")] for line in before.splitlines() if line.startswith("| ")]
    outcomes = {row[0].removeprefix("| "): row[2] for row in cells if len(row) == 4 and row[2] in OUTCOMES}
    return [
        f"{each.case.id}: {each.outcome}, and was {outcomes[each.case.id]}: {each.notes}"
        for each in judged
        if OUTCOMES.index(each.outcome) > OUTCOMES.index(outcomes.get(each.case.id, each.outcome))
    ]


def cell(text):
    return " ".join(str(text).replace("|", "\\|").split())


def said(judged):
    """Every case that is wrong or unclear, with its commands and what the program said."""
    lines = ["# Wrong or unclear", ""]
    for kind in dict.fromkeys(each.case.kind for each in judged):
        of_kind = [each for each in judged if each.case.kind == kind and each.outcome in ("wrong", "unclear", "broken")]
        lines += [f"## {kind}", ""] if of_kind else []
        for each in of_kind:
            lines += [f"### {each.case.id}: {each.outcome.upper()}", "", each.case.story, ""]
            lines += [f"- {note}" for note in each.notes] + ["", "```"]
            for arguments, code, out, err in each.said:
                lines += [
                    f"$ bractline {' '.join(map(str, arguments))}    # exit {code}",
                    shortened(out),
                    shortened(err),
                ]
            lines += ["```", ""]
    return "\n".join(line for line in lines if line is not None) + "\n"


def shortened(text, most=14):
    lines = text.rstrip().splitlines()
    lines = [line[:400] for line in lines]
    return "\n".join(lines if len(lines) <= most else [*lines[:most], f"… {len(lines) - most} lines more"]) or None
