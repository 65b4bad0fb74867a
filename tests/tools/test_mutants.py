"""The list of mutants fits the source as it stands, and names tests that exist."""

from tools.mutants import ROOT, listed


def test_mutants_fit_their_files_and_name_tests_that_exist():
    mutants = listed()
    assert len({(mutant.file, mutant.name) for mutant in mutants}) == len(mutants) >= 30
    missing = {test for mutant in mutants for test in mutant.tests if not (ROOT / test).is_file()}
    assert not missing
