"""Who looks, and how they are spoken to."""

import pytest

from dashboards.viewing import speaker_of
from monitor.words.languages import Speaker

CHROME_US = "en-US,en;q=0.9"


@pytest.mark.parametrize(
    ("cookie", "accept", "site", "speaker"),
    [
        ("", "", {}, Speaker()),
        ("", CHROME_US, {"language": "en", "units": "metric"}, Speaker()),
        ("", "es-MX,es;q=0.9,en;q=0.8", {"language": "en"}, Speaker("es", "metric", "es_MX")),
        ("", "en-ZA", {}, Speaker("en", "metric", "en_ZA")),
        ("", "fr-FR,fr;q=0.9,es;q=0.5", {}, Speaker("es", "metric", "es")),
        ("", "fr;q=0.9, en;q=0.1, es;q=0", {}, Speaker("en", "metric", "en")),
        ("", CHROME_US, {"language": "es", "units": "us"}, Speaker("es", "us", "es")),
        ("holdwatch_language=es", CHROME_US, {}, Speaker("es", "metric", "es")),
        ("holdwatch_language=en; holdwatch_units=metric", "es", {"language": "es", "units": "us"}, Speaker()),
        ("holdwatch_language=xx; holdwatch_units=cubits", "es", {}, Speaker("es", "metric", "es")),
        ("a=b; ;;=", ";;,q=,*,x-y-z", {}, Speaker()),
    ],
)  # fmt: skip
def test_choice_then_site_then_browser(cookie: str, accept: str, site: dict[str, str], speaker: Speaker) -> None:
    assert speaker_of(cookie, accept, site) == speaker
