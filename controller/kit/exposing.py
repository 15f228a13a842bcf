"""How a kit makes its exposures, in words: the shutter, the time, and what the camera does afterwards."""

from controller.kit.focus import focus_sentence
from controller.kit.kit import Exposure, Kit
from controller.kit.own_head import example_words
from controller.kit.provenance import Source

NIGHT_S = 1.0  # an exposure of this time or longer is called long. Our own choice, no source


def seconds_text(seconds: float) -> str:
    """A shutter time as cameras display it: 1/80 s, 0.5 s, 15 s, 1200 s."""
    if seconds >= 999.5:
        return f"{seconds:.0f} s"
    return f"{seconds:.3g} s" if seconds > 0.3 else f"1/{1 / seconds:.3g} s"


def times_text(exposure: Exposure) -> str:
    """The shutter times of one frame, and whether the board or the camera times them."""
    times = ", ".join(map(seconds_text, exposure.times_s))
    return f"{times} {'at bulb, timed by the board' if exposure.bulb else 'by the camera'}"


def dark_s(exposure: Exposure) -> float:
    """Total time of the dark frames of one frame, in seconds."""
    return sum(map(exposure.dark_frame_s, exposure.times_s))


def lacks_noise_reduction(kit: Kit) -> bool:
    """Whether exposures are long enough for dark frames and the kit does not say whether the camera shoots them."""
    long = max(kit.exposure.times_s) >= min(NIGHT_S, kit.exposure.noise_reduction_from_s)
    return long and kit.source("exposure.noise_reduction") is Source.EXAMPLE


def noise_text(kit: Kit) -> str | None:
    """What the kit says about dark frames; None if no exposure is long enough for one."""
    exposure = kit.exposure
    if exposure.noise_reduction and dark_s(exposure):
        from_s = seconds_text(exposure.noise_reduction_from_s)
        return (
            f"on: a dark frame as long as the exposure after each of {from_s} or more, "
            f"{seconds_text(dark_s(exposure))} a frame"
        )
    if lacks_noise_reduction(kit):
        return "not known: if it is on in the camera, state noise_reduction = true under [exposure], or switch it off"
    if max(exposure.times_s) >= NIGHT_S:
        return "off" if not exposure.noise_reduction else "on, for longer exposures than these"
    return None


def kit_sentences(kit: Kit) -> list[str]:
    """What the photographer should know about the kit besides a plan: focus, long exposures, an example head."""
    return [focus_sentence(kit), *_night_sentences(kit), *head_sentences(kit)]


def _night_sentences(kit: Kit) -> list[str]:
    exposure, noise = kit.exposure, noise_text(kit)
    if max(exposure.times_s) < NIGHT_S:
        return []
    sentences = [f"Exposures of a frame: {times_text(exposure)}."]
    return sentences if noise is None else [*sentences, f"Long-exposure noise reduction: {noise}."]


def head_sentences(kit: Kit) -> list[str]:
    """A warning that the head is an example, if it is."""
    if example_words(kit) is None:
        return []
    return [
        "The head is an example: its times and limits are not yours. No real head moves with these figures. "
        "Run `fullturn kit check` to see which to state."
    ]
