"""The mixture of talk and notes is a proper language model."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pocketsphinx
import pytest

from treeward.errors import PhraseBookError, SpeechError
from treeward.speech.bundled_model import LOG_BASE, read_bundled_model
from treeward.speech.phrasebook import PhraseBook
from treeward.speech.sphinx_model import prepare_model

if TYPE_CHECKING:
    from treeward.speech.mixed_model import MixedModel

BUNDLED = Path(pocketsphinx.get_model_path("en-us/en-us.lm.bin"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> MixedModel:
    return prepare_model(PhraseBook.load(), cache_dir=tmp_path_factory.mktemp("cache"))


def one_grams(path: Path) -> list[str]:
    text = path.read_text(encoding="utf-8")
    section = text.split("\\1-grams:\n")[1].split("\n\n")[0]
    return [line.split()[1] for line in section.splitlines()]


def test_bundled_pairs_are_what_pocketsphinx_reads() -> None:
    model = read_bundled_model(BUNDLED)
    reader = pocketsphinx.NGramModel.readfile(str(BUNDLED))
    rng = np.random.default_rng(4)
    for i in rng.integers(0, len(model.pair_first), 200):
        first = model.words[model.pair_first[i]]
        second = model.words[model.pair_second[i]]
        wanted = reader.prob([second, first]) * np.log(LOG_BASE)
        assert model.pair_log_prob[i] == pytest.approx(wanted, abs=2e-4)


def test_other_files_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "some.lm.bin"
    path.write_bytes(b"no language model at all")
    with pytest.raises(SpeechError, match="is not a language model"):
        read_bundled_model(path)
    path.write_bytes(BUNDLED.read_bytes()[:100_000])
    with pytest.raises(SpeechError, match="is not a language model"):
        read_bundled_model(path)


@pytest.mark.parametrize(
    "history",
    ["<s>", "the", "back", "_yellow_back", "_bearing_heading", "_remark_note"],
)
def test_what_may_follow_sums_to_one(made: MixedModel, history: str) -> None:
    reader = pocketsphinx.NGramModel.readfile(str(made.language_model))
    vocabulary = [word for word in one_grams(made.language_model) if word != "<s>"]
    logs = np.array([reader.prob([word, history]) for word in vocabulary])
    assert np.exp(logs * np.log(LOG_BASE)).sum() == pytest.approx(1.0, abs=2e-3)


def test_talk_only_model_has_no_tokens(made: MixedModel) -> None:
    assert not any(word.startswith("_") for word in one_grams(made.talk_only))


def test_model_is_made_once_for_each_phrase_book(tmp_path: Path) -> None:
    first = prepare_model(PhraseBook.load(), cache_dir=tmp_path)
    written = first.language_model.stat().st_mtime_ns
    again = prepare_model(PhraseBook.load(), cache_dir=tmp_path)
    assert again.language_model.stat().st_mtime_ns == written
    own = tmp_path / "phrasebook.toml"
    own.write_text('schema = 1\n[colours]\nblack = ["black"]\n', encoding="utf-8")
    from treeward.resources import phrasebook_path

    other = prepare_model(PhraseBook.load(phrasebook_path(), own), cache_dir=tmp_path)
    assert other.language_model != first.language_model
    assert "_black_back" in other.tokens.tokens


def test_word_that_cannot_be_pronounced_is_refused(tmp_path: Path) -> None:
    from treeward.resources import phrasebook_path

    own = tmp_path / "phrasebook.toml"
    own.write_text('schema = 1\n[colours]\nzorp = ["zorpish"]\n', encoding="utf-8")
    with pytest.raises(PhraseBookError, match="has no 'zorpish'") as caught:
        prepare_model(PhraseBook.load(phrasebook_path(), own), cache_dir=tmp_path)
    assert "[pronunciations]" in caught.value.line()
