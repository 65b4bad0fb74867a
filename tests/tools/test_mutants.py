"""The list of mutants fits the source, names tests that exist, and can be split."""

from itertools import chain

import pytest

from tests.helpers.messages import refused
from tools.mutants import ROOT, ListError, listed, shard_of


def test_mutants_fit_their_files_and_name_tests_that_exist():
    mutants = listed()
    assert len({(mutant.file, mutant.name) for mutant in mutants}) == len(mutants) >= 30
    missing = {test for mutant in mutants for test in mutant.tests if not (ROOT / test).is_file()}
    assert not missing


def test_shards_have_each_mutant_once():
    mutants = listed()
    shards = [shard_of(mutants, f"{k}/4") for k in range(1, 5)]
    assert sorted(map(str, chain(*shards))) == sorted(map(str, mutants))
    assert shard_of(mutants, "1/1") == mutants


@pytest.mark.parametrize("shard", ["0/4", "5/4", "4", "a/b", ""])
def test_wrong_shard_is_refused(shard):
    with refused(ListError, "--shard", "K/N"):
        shard_of(listed(), shard)
