"""The part of Flask-Babel that is used here; the package carries no types."""

from collections.abc import Callable

from babel.support import NullTranslations
from flask import Flask

class Babel:
    def __init__(
        self, app: Flask, default_locale: str = ..., locale_selector: Callable[[], str] | None = ...
    ) -> None: ...

def get_translations() -> NullTranslations: ...
