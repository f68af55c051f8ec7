"""How many samples a second a serial line can carry."""

from logger.protocol.messages import I_AND_V, Identity

BAUDS = (57_600, 115_200, 230_400, 250_000, 460_800, 500_000, 921_600, 1_000_000, 2_000_000)
DEFAULT_BAUD = 115_200

BITS_PER_BYTE = 10
"""8N1: a start bit, eight of data, a stop bit."""
_WIDEST_SEQ_AND_MICROS = len("D,65535,4294967295,")
_WIDEST_VOLTAGE = len(",-99999")
_CHECK_AND_FEED = len("*CCCC\n")


def widest_sample_bytes(identity: Identity) -> int:
    """Length of the longest sample line this board may send, line feed included."""
    widest_count = int(identity.full_scale_ma * 1000 / identity.amp_lsb_ua) if identity.amp_lsb_ua else 99_999
    current = len(f"-{widest_count}")
    voltage = _WIDEST_VOLTAGE if identity.channels == I_AND_V else 0
    return _WIDEST_SEQ_AND_MICROS + current + voltage + _CHECK_AND_FEED


def highest_rate_hz(identity: Identity, baud: int) -> int:
    """Samples a second that ``baud`` carries for certain."""
    return baud // (BITS_PER_BYTE * widest_sample_bytes(identity))


def refusal(identity: Identity, rate_hz: int, baud: int) -> str:
    """Why ``rate_hz`` can't be carried at ``baud``, and which baud would; empty when it can."""
    highest = highest_rate_hz(identity, baud)
    if rate_hz <= highest:
        return ""
    enough = [one for one in BAUDS if highest_rate_hz(identity, one) >= rate_hz]
    would = f"{enough[0]} baud would" if enough else f"no baud up to {BAUDS[-1]} would"
    return f"{baud} baud carries at most {highest} samples/s of this board, not {rate_hz}; {would}"
