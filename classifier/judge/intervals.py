"""How sure a share is that was counted on few calls: the Wilson score interval."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Share:
    """``hits`` of ``total`` with its interval; all three numbers are None where nothing was counted."""

    hits: int
    total: int
    value: float | None
    low: float | None
    high: float | None


def share_of(hits: int, total: int, *, confidence: float = 0.95) -> Share:
    """A share with its Wilson score interval.

        centre = (p + z²/2n) / (1 + z²/n),  half = z sqrt(p(1-p)/n + z²/4n²) / (1 + z²/n)

    with p = hits/total, n = total and z the normal quantile of the confidence. Unlike the interval p ± 2 se
    it stays inside 0 to 1 and says something true where every call was right.

    Parameters
    ----------
    hits, total : int, 0 <= hits <= total
    confidence : float in (0, 1), the two-sided confidence

    Returns
    -------
    Share, values from 0 to 1; None for all of them when ``total`` is 0
    Source: [Wilson1927]
    """
    if total == 0:
        return Share(0, 0, None, None, None)
    from scipy.stats import binomtest

    interval = binomtest(int(hits), int(total)).proportion_ci(confidence_level=confidence, method="wilson")
    return Share(int(hits), int(total), hits / total, float(interval.low), float(interval.high))
