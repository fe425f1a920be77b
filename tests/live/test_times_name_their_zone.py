"""A time on a page that a telephone of another zone may show says whose time it is."""

import json

from satdiag.language import LANGUAGES, speaking
from satdiag.live.views import timing
from tests.sample_findings import findings_of, job_of


def test_the_visit_of_timed_changes_names_its_zone():
    for language in LANGUAGES:
        with speaking(language):
            told = json.dumps(timing.view(job_of("filling"), findings_of("filling")))
        assert "(America/Chicago)" in told  # the zone of the sample's place, in its job sheet
