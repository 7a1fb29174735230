"""FLAC files: the metadata blocks that keep the chunks of the WAV file they were made from.

Encoders that are told to keep foreign metadata put each RIFF chunk into an APPLICATION block named ``riff``.
Source: RFC 9639 (2024), section 8 (metadata blocks), and the registry of application identifiers it names.
"""

_APPLICATION = 2
_BLOCK_LIMIT = 1 << 20


def guano_chunk(file):
    """Bytes of the ``guan`` chunk kept in a FLAC file.

    Parameters
    ----------
    file : binary file, seekable, that starts with ``fLaC``

    Returns
    -------
    bytes, or None where there is no such chunk
    Raises
    ------
    OSError : the medium cannot be read
    """
    at = 4
    while True:
        file.seek(at)
        head = file.read(4)
        if len(head) < 4:
            return None
        length = int.from_bytes(head[1:], "big")
        if head[0] & 0x7F == _APPLICATION and 12 < length <= _BLOCK_LIMIT:
            block = file.read(length)
            if block[:8] == b"riffguan":
                return block[12 : 12 + int.from_bytes(block[8:12], "little")]
        if head[0] & 0x80:  # the last metadata block
            return None
        at += 4 + length
