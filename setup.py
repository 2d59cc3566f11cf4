"""Lays the default rulebook into the wheel, inside the package; everything else stands in pyproject.toml."""

import shutil
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py


class WithRules(build_py):
    def run(self) -> None:
        super().run()
        if not self.editable_mode:
            rules = Path(self.build_lib, "triage", "default_rules")
            shutil.rmtree(rules, ignore_errors=True)  # what an earlier build left may be of another rulebook
            shutil.copytree("rules", rules)


setup(cmdclass={"build_py": WithRules})
