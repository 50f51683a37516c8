"""Why a capture cannot be metered, each with the advice that goes with it."""

from enum import Enum

from tetherwatch.errors import TetherwatchError


class Fault(Enum):
    """A reason in the user's words, and what to do about it."""

    EMPTY = ("the file is empty", "copy it again; check that the card or disk is not full")
    CUT_SHORT = ("the file is cut short or damaged", "copy it again from the camera; keep the card until you have")
    BLANK = ("the raw data are all zero", "copy it again from the camera; keep the card until you have")
    NOT_A_CAPTURE = ("this is not a picture, whatever its name says", "remove it from the capture folder")
    UNSUPPORTED = (
        "the decoder does not know this kind of file",
        "set the camera to raw + JPEG, or to another raw format",
    )
    NO_ACCESS = ("the file may not be read", "give yourself read permission on it")
    VANISHED = ("the file is gone", "check the tethering cable and the transfer program")
    NOT_A_FILE = ("this is a folder or a special file, not a capture", "rename it so that it does not look like one")
    TOO_LARGE = ("the picture is larger than this program reads", "shoot at a smaller size")
    OUT_OF_MEMORY = (
        "reading it took more memory than any picture needs and was stopped",
        "copy it again; if that does not help, set it aside",
    )
    TOO_SMALL = ("the picture is too small to meter", "remove it from the capture folder")
    TOO_SLOW = (
        "reading it took too long and was stopped",
        "run 'tetherwatch read' on it later, when nothing is waiting",
    )
    CRASHED = ("the decoder failed on it and was restarted", "copy it again; if that does not help, set it aside")
    SET_ASIDE = ("reading it broke off more than once, so it was set aside", "copy it again, or leave it out")

    def __init__(self, problem: str, advice: str) -> None:
        self.problem = problem
        self.advice = advice


class CaptureError(TetherwatchError):
    """One capture cannot be metered. `detail` (may be empty) is the decoder's own word, not yet safe to show."""

    def __init__(self, fault: Fault, detail: str = "") -> None:
        super().__init__(fault, detail)
        self.fault = fault
        self.detail = detail
