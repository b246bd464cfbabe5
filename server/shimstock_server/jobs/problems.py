"""What can stand in the way of a job."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict, Unprocessable


class MoveNotAllowed(Conflict):
    """A job in this state cannot make that move; `allowed_moves` lists those it can make."""

    code = "move-not-allowed"
    title = "Move not allowed"


class ClaimEnded(Conflict):
    """This claim is over; `claim` names who holds the job now, if anybody."""

    code = "claim-ended"
    title = "Claim ended"


class AlreadyClaimed(Conflict):
    """Somebody else holds this job; `claim` names the holder."""

    code = "already-claimed"
    title = "Already claimed"


class NotClaimable(Conflict):
    """A job can be claimed while it is queued, ready for rework, or settling and due."""

    code = "not-claimable"
    title = "Not claimable"


class TooManyClaims(Conflict):
    """This technician holds as many jobs as the shop allows; give one back, or let it settle."""

    code = "too-many-claims"
    title = "Too many claims"


class SkillMissing(Conflict):
    """This job needs a skill that the technician does not have."""

    code = "skill-missing"
    title = "Skill missing"


class BenchNotEquipped(Conflict):
    """This job needs something for which the bench is not equipped."""

    code = "bench-not-equipped"
    title = "Bench not equipped"


class ConsentWithdrawn(Conflict):
    """This consent was withdrawn already."""

    code = "consent-withdrawn"
    title = "Consent withdrawn"


class InstrumentNeeded(Unprocessable):
    """A job is received with its instrument; name it first."""

    code = "instrument-needed"
    title = "Instrument needed"


class FinalReadingsNeeded(Conflict):
    """A job becomes ready when every quantity of its spec has a reading that nothing has moved since, or with
    a reason why not; `unread` names those that have none."""

    code = "final-readings-needed"
    title = "Final readings needed"


class JobOver(Conflict):
    """This job is over; open a new one that follows it."""

    code = "job-over"
    title = "Job over"
