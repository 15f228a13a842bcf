"""Whatever is wrong with a file or a command line: one sentence, nothing else changed, and within a time limit."""

from __future__ import annotations

import os
import re
from pathlib import Path
from random import Random

import pytest

from tests.mutated import databases, exif, spoiling
from tests.mutated.cases import CASES
from tests.mutated.corpus import make_corpus
from tests.mutated.judging import copy_of, judge
from tests.mutated.subjects import ALSO, SUBJECTS, Subject

CHUNKS = 20  # each a separate test, so that two cores share them
TOO_SMALL = "too little|12 or more"
FILES, LINES = 40, 150  # cases of a chunk: 3,800 in all


@pytest.fixture(scope="session")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("mutated") / "corpus"
    folder.mkdir()
    back = Path.cwd()
    os.chdir(folder)
    try:
        make_corpus(folder)
    finally:
        os.chdir(back)
    return folder


@pytest.mark.skipif(os.name == "nt", reason="pipes and links are those of POSIX")
@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.file)
def test_the_sound_corpus_is_accepted(subject: Subject, corpus: Path) -> None:
    """Otherwise a refusal would not be due to the damage."""
    for words in subject.commands:
        with copy_of(corpus) as folder:
            verdict = judge(words, folder)
        assert not verdict.fault
        done = {0, *({2} if subject.judged else ()), *ALSO.get(words[0], ())}
        assert verdict.status in done, (words, verdict.said)
        assert verdict.status != 2 or re.search(TOO_SMALL, verdict.said), verdict.said


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="pipes and links are those of POSIX")
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_every_mutation_gets_a_sentence_and_changes_nothing(chunk: int, corpus: Path) -> None:
    for sort, count in (("files", FILES), ("options", LINES)):
        for seed in range(chunk * count, (chunk + 1) * count):
            verdict = CASES[sort](corpus, seed)
            assert not verdict.fault, f"{sort} seed {seed}: {verdict.words}\n{verdict.said}\n{verdict.told}"


def test_a_picture_is_spoilt_where_its_fields_are(corpus: Path) -> None:
    """The changes are in places that EXIF defines, and readers still begin to read the file."""
    content = (corpus / "card" / "FULL0001.JPG").read_bytes()
    found = exif.directories(content)
    assert found is not None
    assert len(found.fields) >= 5
    spoilt = {exif.spoilt_picture(content, Random(seed)) for seed in range(100)}
    assert len(spoilt) > 80
    assert all(one[:2] == content[:2] for one in spoilt)


def test_the_same_seed_spoils_the_same_way(corpus: Path, tmp_path: Path) -> None:
    content = (corpus / "session.sqlite").read_bytes()
    for spoil in (databases.spoil_tables, databases.spoil_pages):
        made = []
        for number in range(2):
            path = tmp_path / f"{spoil.__name__}{number}.sqlite"
            path.write_bytes(content)
            spoil(path, Random(3))
            made.append(path.read_bytes())
        assert made[0] == made[1] != content
    text = (corpus / "level.csv").read_text()
    assert spoiling.spoilt_csv(text, Random(1)) == spoiling.spoilt_csv(text, Random(1)) != text
