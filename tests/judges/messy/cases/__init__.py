"""The cases, class by class: one module a class or a group of like ones."""

import importlib
import pkgutil


def all_cases():
    found = []
    for module in sorted(pkgutil.iter_modules(__path__), key=lambda module: module.name):
        found += importlib.import_module(f"cases.{module.name}").cases()
    ids = [case.id for case in found]
    doubled = {one for one in ids if ids.count(one) > 1}
    if doubled:
        raise ValueError(f"two cases of one id: {doubled}")
    return found
