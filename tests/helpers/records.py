"""The run.json of a study that was not run by `fem.study.runner`."""


def study_record(study, not_reached=()):
    """Return a complete record with only the study and the curves that ended early."""
    numbers = {"cases": 0, "curves": {"requested": 0}, "other_curves": 0, "seconds": {}}
    lists = {"unusable": [], "batch_errors": [], "sessions": []}
    return {
        "study": study.data,
        "study_hash": study.hash,
        "case": study.base.data,
        "case_hash": study.base.hash,
        "versions": {},
        "machine": {},
        "ended_early": "",
        "not_reached": list(not_reached),
        **numbers,
        **lists,
    }
