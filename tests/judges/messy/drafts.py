"""An office answers the draft of a mapping: every "?" and every column that the draft did not know."""

import re


def answered(draft, constants, columns, pattern):
    """The draft with its answers.

    `columns` says for a header the lines by which the office answers: `to`, `unit`, `format` and so on. `pattern` is
    the answer for columns of counts. What is answered already stays as it is.
    """
    blocks = re.split(r"\n(?=\n)", draft)
    text = "\n".join(answer(block, columns, pattern) for block in blocks)
    for member, value in constants.items():
        text = text.replace(f'"{member}" = "?"', f'"{member}" = "{value}"')
    # What a column gives now is no constant any more.
    given = re.findall(r'(?m)^to = "(.*)"$', text)
    lines = [line for line in text.split("\n") if not any(line == f'"{member}" = "?"' for member in given)]
    return "\n".join(lines)


def answer(block, columns, pattern):
    if "namePattern" in block and "[[field]]" in block:
        return re.sub(r'(?m)^namePattern = "\?"', f"namePattern = '{pattern}'", block)
    name = re.search(r'(?m)^(# )?name = "(.*)"$', block)
    if not name or name.group(2) not in columns:
        return block
    if name.group(1):  # a column that the draft did not know
        block = re.sub(r"(?m)^# (?=\[\[field\]\]|name = |to = )", "", block)
    for key, value in columns[name.group(2)].items():
        line = f'{key} = "{value}"'
        block = re.sub(rf'(?m)^(# )?{key} = "\?"$', line, block)
        if f"\n{key} = " not in block:
            block += f"\n{line}"
    return block
