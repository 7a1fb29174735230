"""Labels of pulses and passes: where measurements, passes and a key meet."""

from classifier.label.labelling import Labels, label

__all__ = ["Labels", "label"]
