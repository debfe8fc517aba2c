"""The language and the way of writing numbers that the grower's system is set to, where nothing else is said."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping

from feedcalc.words.json_text import json_object
from feedcalc.words.languages import LANGUAGES, LOCALES, USUAL_LOCALE

_VARIABLES = ("LC_ALL", "LC_MESSAGES", "LANG")


def usual_language(environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """Return ``language`` and ``locale`` of a request by the system's settings; nothing for a language not here.

    >>> usual_language({"LANG": "pt_BR.UTF-8"}), usual_language({"LC_ALL": "C", "LANG": "de_DE"})
    ({'language': 'pt', 'locale': 'pt-BR'}, {})
    """
    tag = next((environment[name] for name in _VARIABLES if environment.get(name)), "")
    tag = tag.split(".")[0].split("@")[0].replace("_", "-")
    language = tag.split("-")[0].casefold()
    if language not in LANGUAGES:
        return {}
    return {"language": language, "locale": tag if tag in LOCALES else USUAL_LOCALE[language]}


def with_usual_language(request: str) -> str:
    """Return a request (JSON text) in the system's language, unless it names one; other text stays as it is."""
    document = json_object(request)
    usual = usual_language()
    if document is None or document.get("language") or not usual:
        return request
    usual = usual if not document.get("locale") else {"language": usual["language"]}
    return json.dumps({**document, **usual}, ensure_ascii=False)
