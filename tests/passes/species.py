"""How the species of the synthetic tables call, from published means."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Call:
    """One call type: frequencies in kHz, duration in ms, slope of the flattest stretch in kHz/ms."""

    char: float
    start: float
    end: float
    peak: float
    duration: float
    slope: float
    level: float = 0.0


@dataclass(frozen=True)
class Species:
    """What a species' calls are like; two ``calls`` are used in turn. ``interval`` in ms; ``spread`` between bats."""

    name: str
    calls: tuple
    interval: float
    spread: float = 0.03
    steady: float = 1.0


#: Mean calls from published tables; where the tables leave a number open it is chosen (slopes all are).
SPECIES = tuple(
    Species(*row)
    for row in (
        # Parsons & Jones 2000 (duration, band, peak); interval as in a field recording of a pipistrelle
        ("Pipistrellus pipistrellus", (Call(45.5, 76, 45, 47, 5.6, -0.6),), 87),
        # Russ (ed.) 2021, section 8.31
        ("Pipistrellus pygmaeus", (Call(55.0, 79.6, 54.7, 55.1, 5.5, -0.5),), 89.1, 0.02),
        # Russ (ed.) 2021, section 8.33 (interval); Russ 2012 (frequencies, from memory)
        ("Pipistrellus nathusii", (Call(38.0, 60, 37.5, 38.5, 7.0, -0.3),), 129),
        # Parsons & Jones 2000: the two call types of a noctule; interval from memory (150 to 400 ms)
        ("Nyctalus noctula", (Call(22.0, 25, 21.8, 22, 13.8, -0.1), Call(26.0, 47, 26, 27, 11.5, -0.6)), 200),
        ("Nyctalus leisleri", (Call(26.0, 54, 25, 29, 8.5, -0.7),), 180),
        ("Eptesicus serotinus", (Call(26.5, 55, 25, 31, 8.8, -1.2),), 130),
        # Parsons & Jones 2000: types 1 and 2; Seibert et al. 2015: two beams, so two levels
        ("Barbastella barbastellus", (Call(31.0, 38, 30, 33, 2.5, -2.0), Call(35.0, 47, 29, 38, 4.1, -2.5, -6.0)), 70),
        ("Plecotus auritus", (Call(32.0, 56, 27, 45, 2.5, -9.0),), 60),
        ("Myotis daubentonii", (Call(44.0, 85, 32, 47, 3.3, -9.0),), 80),
        ("Myotis nattereri", (Call(45.0, 115, 23, 53, 3.8, -18.0),), 75),
        ("Myotis mystacinus", (Call(45.0, 102, 34, 53, 3.0, -14.0),), 80),
        # long tones, duty cycle near 50 % (Fenton, Faure & Ratcliffe 2012: high duty cycle above 25 %)
        ("Rhinolophus ferrumequinum", (Call(82.0, 72, 70, 82, 45.0, 0.0),), 90, 0.01, 0.3),
        ("Rhinolophus hipposideros", (Call(110.0, 98, 95, 110, 38.0, 0.0),), 80, 0.01, 0.3),
        # Bayside list (characteristic frequencies); Pennay, Law & Reinhold 2004: successive pulses alternate
        ("Chalinolobus gouldii", (Call(28.0, 42, 27.5, 28.5, 9.0, -0.5), Call(32.0, 48, 31.5, 32.5, 8.0, -0.6)), 130),
        ("Miniopterus orianae oceanensis", (Call(45.4, 75, 43, 46, 7.0, -0.6),), 95, 0.02),
        ("Vespadelus vulturnus", (Call(50.0, 80, 50.5, 51, 5.0, -0.5),), 90),
        ("Austronomus australis", (Call(12.5, 14, 12, 12.6, 15.0, -0.05),), 320, 0.06),
        # Jones et al. 2003, Table 2
        ("Mystacina tuberculata", (Call(22.0, 37.4, 18.6, 27.7, 2.5, -6.0),), 72.3, 0.04),
    )
)

BY_NAME = {species.name: species for species in SPECIES}
