"""Couplets and their leads: labels, targets, order, and the routes from couplet to couplet."""

from bisect import bisect

from classifier.key import syntax as s
from classifier.key.names import Names
from classifier.key.vocabulary import PASS, PULSE


class Leads(Names):
    """Findings about couplets and the leads of refine."""

    def target(self, target, refine=False):
        match target:
            case s.ToCouplet(number):
                if refine:
                    self.say(
                        "K210",
                        "a lead of refine cannot go to a couplet",
                        target.span,
                        "end it in a taxon, a group, unidentified, not a bat or stays",
                    )
                    return
                self.led_to.add(number)
                if number not in self.key.couplets and ("couplet", number) not in self.broken:
                    near = self._nearest(number)
                    self.say(
                        "K210",
                        f"there is no couplet {number}",
                        target.span,
                        f"the nearest is couplet {near}" if near else "",
                    )
            case s.ToTaxon(name):
                self.named.add(name)
                self.taxon_known(target)
            case s.ToGroup(name):
                self.group_known(target)
                group = self.key.groups.get(name)
                self.named.update(each.name for each in group.members) if group else None
            case s.Unidentified(None):
                self.say(
                    "K226",
                    "a lead ends unidentified without saying why",
                    target.span,
                    'add the reason, as in unidentified "too short to part the two"',
                )

    def _nearest(self, number):
        """The number of the couplet whose number is nearest to one that there is not; None without any."""
        numbers = list(self.key.couplets)
        place = bisect(numbers, number)
        return min(numbers[max(0, place - 1) : place + 1], key=lambda each: (abs(each - number), each), default=None)

    def leads(self, leads, number, level):
        closed = None
        letters = {}
        for lead in leads:
            self.citations(lead.citations)
            if lead.condition is not None:
                self.condition(lead.condition, level)
            self.target(lead.target, refine=level == PASS)
            if closed is not None:
                self.say(
                    "K214",
                    f"no call reaches lead {lead.label}: {closed.label} takes everything",
                    lead.span,
                    "write `otherwise` last",
                    (("everything is taken here", closed.span),),
                )
            elif lead.condition is None:
                closed = lead
            label = (
                s.Span(
                    lead.span.file,
                    lead.span.start,
                    lead.span.start + len(lead.label),
                    lead.span.line,
                    lead.span.column,
                )
                if lead.span
                else None
            )
            if lead.number != number:
                self.say(
                    "K213",
                    f"lead {lead.label} stands in couplet {number}",
                    label,
                    f"write {number}{lead.letter}",
                )
            elif lead.letter in letters:
                self.say(
                    "K213",
                    f"lead {lead.label} stands a second time",
                    label,
                    "letters run a, b, c in the order of the leads",
                    (("first here", letters[lead.letter].span),),
                )
            elif letters and lead.letter < max(letters):
                self.say(
                    "K213",
                    f"lead {lead.label} is out of turn",
                    label,
                    "letters run a, b, c in the order of the leads",
                )
            letters.setdefault(lead.letter, lead)

    def couplet(self, couplet):
        self.citations(couplet.citations)
        self.empty(
            couplet,
            couplet.leads,
            f"couplet {couplet.number}",
            f"add its leads, as in {couplet.number}a duration < 5 ms => 2",
        )
        self.leads(couplet.leads, couplet.number, PULSE)

    def routes(self):
        """Circles and orphans of the couplets."""
        couplets = self.key.couplets
        onward = {
            number: [lead.target.number for lead in couplet.leads if isinstance(lead.target, s.ToCouplet)]
            for number, couplet in couplets.items()
        }
        done, reported = set(), set()
        for root in couplets:
            trail, on_trail, stack = [], set(), [(root, iter(onward[root]))] if root not in done else []
            if stack:
                trail, on_trail = [root], {root}
            while stack:
                number, rest = stack[-1]
                following = next((each for each in rest if each in couplets and each not in done), None)
                if following is None:
                    stack.pop()
                    trail.pop()
                    on_trail.discard(number)
                    done.add(number)
                elif following in on_trail:
                    circle = trail[trail.index(following) :]
                    if frozenset(circle) not in reported:
                        reported.add(frozenset(circle))
                        self.circle(circle)
                else:
                    stack.append((following, iter(onward[following])))
                    trail.append(following)
                    on_trail.add(following)
        first = next(iter(couplets), None)
        for number, couplet in couplets.items():
            if number != first and number not in self.led_to and not self.broken:
                self.say(
                    "K212",
                    f"no lead goes to couplet {number}",
                    couplet.span,
                    "lead to it, or take it out; a call enters at the couplet with the lowest number",
                )

    def circle(self, circle):
        last = self.key.couplets[circle[-1]]
        lead = next(lead for lead in last.leads if isinstance(lead.target, s.ToCouplet) and lead.target.number == circle[0])
        way = " → ".join(map(str, [*circle, circle[0]]))
        self.say("K211", f"couplets lead back to themselves: {way}", lead.span, "lead to a couplet further on")
