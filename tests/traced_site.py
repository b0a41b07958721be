"""A site's own tables as the file that the page to trace on saves."""

import json

from pipelines.inputs.site_ground import SiteInputs
from pipelines.tracing.site_features import site_answers, site_features


def traced_text(opened: SiteInputs) -> str:
    features = site_features(opened)
    tables = list(dict.fromkeys(each["properties"]["table"] for each in features))
    content = {
        "type": "FeatureCollection", "replaces": tables, "answers": site_answers(opened.site), "features": features,
    }  # fmt: skip
    return json.dumps(content, ensure_ascii=False, allow_nan=False) + "\n"
