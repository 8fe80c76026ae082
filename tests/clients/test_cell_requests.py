"""What a spreadsheet relies on when it asks for a cell over one connection, without any spreadsheet."""

from __future__ import annotations

from http.client import HTTPConnection
from urllib.parse import urlsplit

import pytest

from tests.clients.serving import Served

HONEY = "amount-for-gravity?ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2&target=1.016&unit=kg"
REFUSED = f"/v1/cell/{HONEY}".replace("target=1.016", "target=0.99")


@pytest.mark.parametrize(
    "path",
    [
        f"/v1/cell/{HONEY}",
        f"/v1/cell/caution/{HONEY}",
        "/v1/cell/sg-from-brix.xml?brix=20",
        "/v1/ingredients.csv",
        "/v1/cell.csv",
    ],
)
def test_head_tells_what_get_sends_and_the_connection_stays(service: Served, path: str) -> None:
    """RFC 9110 section 9.3.2: HEAD has the fields of GET and no content; section 13.1.2: If-None-Match."""
    connection = HTTPConnection(urlsplit(service.address).netloc, timeout=120)
    try:
        connection.connect()
        line = connection.sock
        told = {}
        for method in ("OPTIONS", "HEAD", "GET"):
            connection.request(method, path)
            response = connection.getresponse()
            told[method] = (response.status, dict(response.getheaders()), response.read())
            assert connection.sock is line
        assert told["OPTIONS"][0] == 204
        assert told["OPTIONS"][2] == told["HEAD"][2] == b""
        same = ("content-length", "content-type", "etag", "cache-control")
        assert told["HEAD"][0] == told["GET"][0] == 200
        assert [told["HEAD"][1][name] for name in same] == [told["GET"][1][name] for name in same]
        assert int(told["HEAD"][1]["content-length"]) == len(told["GET"][2])
        assert "max-age" in told["GET"][1]["cache-control"]
        connection.request("GET", path, headers={"If-None-Match": told["GET"][1]["etag"]})
        response = connection.getresponse()
        assert (response.status, response.read()) == (304, b"")
        assert connection.sock is line
    finally:
        connection.close()


def test_a_refusal_is_kept_by_nobody_and_the_connection_stays(service: Served) -> None:
    connection = HTTPConnection(urlsplit(service.address).netloc, timeout=120)
    try:
        connection.connect()
        line = connection.sock
        for method in ("HEAD", "GET"):
            connection.request(method, REFUSED)
            response = connection.getresponse()
            assert response.status == 422
            assert response.getheader("cache-control") == "no-store"
            assert bool(response.read()) is (method == "GET")
            assert connection.sock is line
    finally:
        connection.close()
