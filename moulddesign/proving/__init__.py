"""What a build has to prove, kind by kind: the numbers of the design go to the checks."""

from moulddesign.proving.evidence import Evidence
from moulddesign.proving.proven import proven

__all__ = ["Evidence", "proven"]
