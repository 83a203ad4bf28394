"""Reads an Atom feed as other people's programs do, and holds it to RFC 4287; or looks for what is active in
a page.

usage: check_feed.py FEED.xml          prints what the feed says, as JSON
       check_feed.py --page PAGE.html  prints "no active element"
"""

import json
import re
import sys
import xml.etree.ElementTree as tree
from html.parser import HTMLParser

import feedparser

ATOM = "{http://www.w3.org/2005/Atom}"
# RFC 3339, as RFC 4287 section 3.3 wants it: with T and an offset in capitals.
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
URN = re.compile(r"urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def one(element, name):
    """The text of the one child of that name (sections 4.1.1 and 4.1.2: exactly one)."""
    found = element.findall(ATOM + name)
    assert len(found) == 1, f"{len(found)} {name}"
    assert list(found[0]) == [], f"{name} is not plain text"
    assert found[0].get("type", "text") == "text", f"type of {name}"
    assert (found[0].text or "").strip(), f"{name} is empty"
    return found[0].text


def links(element):
    found = {}
    for link in element.findall(ATOM + "link"):
        rel = link.get("rel", "alternate")
        # Section 4.1.1: no two alternates of the same type and language.
        assert (rel, link.get("type")) not in found, f"two links {rel}"
        found[rel, link.get("type")] = link.get("href")
    return found


def check_feed(path):
    data = open(path, "rb").read()
    parsed = feedparser.parse(data)
    assert not parsed.bozo, parsed.get("bozo_exception")
    assert parsed.version == "atom10", parsed.version
    feed = tree.fromstring(data)
    assert feed.tag == ATOM + "feed", feed.tag
    authors = feed.findall(ATOM + "author")
    assert len(authors) == 1, "a feed has an author, or each of its entries has"
    moments, ids, entries = [one(feed, "updated")], [one(feed, "id")], []
    for entry in feed.findall(ATOM + "entry"):
        moments += [one(entry, "updated"), one(entry, "published")]
        ids.append(one(entry, "id"))
        alternate = links(entry).get(("alternate", "text/html"))
        # Section 4.1.2: an entry without content has an alternate.
        assert alternate, "an entry without a link"
        entries.append({
            "id": ids[-1],
            "title": one(entry, "title"),
            "updated": one(entry, "updated"),
            "summary": one(entry, "summary"),
            "link": alternate,
        })
    assert all(MOMENT.fullmatch(moment) for moment in moments), moments
    assert all(URN.fullmatch(name) for name in ids), ids
    assert len(set(ids)) == len(ids), "two of one id"
    assert max(moments) == moments[0], "the feed is as new as its newest entry"
    assert len(parsed.entries) == len(entries)
    for seen, entry in zip(parsed.entries, entries):
        assert seen.title_detail.type == seen.summary_detail.type == "text/plain"
        assert seen.id == entry["id"]
    print(json.dumps({
        "id": ids[0],
        "title": one(feed, "title"),
        "updated": moments[0],
        "author": one(authors[0], "name"),
        "self": links(feed).get(("self", "application/atom+xml")),
        "entries": entries,
    }))


class Active(HTMLParser):
    """Elements that fetch or run something, handlers, and links to what is not text."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attributes):
        if tag in ("script", "img", "iframe", "object", "embed", "form", "base", "audio", "video"):
            self.found.append(tag)
        for name, value in attributes:
            value = (value or "").strip().lower()
            if name.startswith("on") or name in ("src", "srcset", "formaction"):
                self.found.append(f"{tag} {name}")
            if name in ("href", "xlink:href") and value.startswith(("javascript:", "data:", "vbscript:")):
                self.found.append(f"{tag} {value:.40}")


def check_page(path):
    active = Active()
    active.feed(open(path, encoding="utf-8").read())
    assert not active.found, active.found
    print("no active element")


if sys.argv[1] == "--page":
    check_page(sys.argv[2])
else:
    check_feed(sys.argv[1])
