"""Sets on the disk: each sound one is made once, and a spoilt one only makes the photographs that differ."""

from __future__ import annotations

import hashlib
import os
import pickle
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from sim.scene.spoilt import SOUND, Spoilt
from tests.sets.developing import Developing, spoilt_of
from tests.sets.shooting import shoot
from tests.sets.spec import SetSpec
from tests.sets.truth import MadeSet, TrueShot, true_lens


@dataclass(frozen=True, slots=True)
class SetMaker:
    """Makes sets below `root`, which several processes may share."""

    root: Path

    def make(self, spec: SetSpec, seed: int, spoilt: Mapping[int, Spoilt] | None = None) -> MadeSet:
        """The set of this kind and seed, with the frames of `spoilt` spoilt.

        Its files may be links to those of other sets: never write to them. A set that was made before is found again.
        """
        spoiling = {} if spoilt is None else dict(spoilt)
        home = self.root / _name(spec, seed, spoiling)
        if not (home / "made.pickle").exists():
            sound = self.make(spec, seed) if spoiling else None
            hidden = Path(tempfile.mkdtemp(dir=self.root))
            made = _sound(spec, seed, hidden) if sound is None else _spoilt(sound, spoiling, hidden)
            (hidden / "made.pickle").write_bytes(pickle.dumps(_moved(made, home)))
            try:
                hidden.rename(home)
            except OSError:  # another process was first
                shutil.rmtree(hidden)
        made_there: MadeSet = pickle.loads((home / "made.pickle").read_bytes())
        return made_there


def exchanged(one: int, other: int) -> dict[int, Spoilt]:
    """The table by which two frames have each other's pictures."""
    return {one: Spoilt(swapped_with=other), other: Spoilt(swapped_with=one)}


def _name(spec: SetSpec, seed: int, spoilt: dict[int, Spoilt]) -> str:
    return hashlib.sha256(repr((spec, seed, sorted(spoilt.items()))).encode()).hexdigest()[:16]


def _sound(spec: SetSpec, seed: int, folder: Path) -> MadeSet:
    session, pictures = folder / "session.sqlite", folder / "pictures"
    pictures.mkdir()
    plan, views = shoot(spec, seed, session)
    (folder / "views.pickle").write_bytes(pickle.dumps(views))
    shots = tuple(Developing(spec, seed, views).develop(pictures, {}, range(len(views))))
    return MadeSet(spec, seed, session, pictures, plan, true_lens(spec), shots, {})


def _spoilt(sound: MadeSet, spoilt: dict[int, Spoilt], folder: Path) -> MadeSet:
    session, pictures = folder / "session.sqlite", folder / "pictures"
    pictures.mkdir()
    shutil.copyfile(sound.session, session)
    views = pickle.loads((sound.session.parent / "views.pickle").read_bytes())
    others = [number for number, view in enumerate(views) if spoilt_of(view, spoilt) != SOUND]
    shots = list(sound.shots)
    for number, shot in zip(
        others, Developing(sound.spec, sound.seed, views).develop(pictures, spoilt, others), strict=True
    ):
        shots[number] = shot
    for number, shot in enumerate(shots):
        if shot.file is not None and number not in others:
            there = pictures / shot.file.name
            os.link(shot.file, there)
            shots[number] = replace(shot, file=there)
    return replace(sound, session=session, folder=pictures, shots=tuple(shots), spoilt=spoilt)


def _moved(made: MadeSet, home: Path) -> MadeSet:
    """The set as it is after its folder got the name `home`."""

    def moved(shot: TrueShot) -> TrueShot:
        return shot if shot.file is None else replace(shot, file=home / "pictures" / shot.file.name)

    shots = tuple(moved(shot) for shot in made.shots)
    return replace(made, session=home / made.session.name, folder=home / "pictures", shots=shots)
