"""``drawerwright mqtt``: tell an MQTT 5 broker what a service is at."""

import signal
from datetime import timedelta
from importlib.util import find_spec
from typing import Annotated

import typer

from api.command.exit_codes import ending
from api.command.options import Url, opened
from api.command.terminal.display import note
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings

__all__ = ["mqtt"]


def mqtt(
    *,
    broker: Annotated[str | None, typer.Option(metavar="URL", help="mqtts://host:8883 or mqtt://host:1883.")] = None,
    topic: Annotated[str | None, typer.Option(help="What all topics begin with.", show_default="drawerwright")] = None,
    username: Annotated[str | None, typer.Option(help="For the broker; the password is a setting.")] = None,
    ca_file: Annotated[
        str | None, typer.Option(metavar="FILE", help="Certificates that the broker's is signed by (PEM).")
    ] = None,
    every: Annotated[float, typer.Option(min=0.2, max=3600.0, help="Seconds between two looks.")] = 2.0,
    days: Annotated[int, typer.Option(min=1, max=3650, help="Days for which a job that ended is told of.")] = 30,
    url: Url = None,
) -> None:
    """Publish jobs, events and the printer's queue until Ctrl-C. Runs beside a service, with a key of scope read.

    Topics: TOPIC/status (online or offline), TOPIC/jobs/ID/state, TOPIC/jobs/ID/event, TOPIC/queue. All but events are
    retained. Name, password and the rest are settings too: DRAWERWRIGHT_MQTT_BROKER, _TOPIC, _USERNAME, _PASSWORD,
    _CA_FILE, or mqtt_broker and so on in the configuration file.
    """
    with ending(machine=False):
        if find_spec("paho") is None:
            raise SettingsError("paho-mqtt is not installed.", remedy="Run: pip install 'drawerwright[mqtt]'")
        from api.mqtt.broker_address import BrokerAddress, Topics  # noqa: PLC0415 - the other commands need no broker
        from api.mqtt.connection import Connection, trusting  # noqa: PLC0415 - as above
        from api.mqtt.observation import Observer  # noqa: PLC0415 - as above
        from api.mqtt.publisher import Publisher  # noqa: PLC0415 - as above

        wanted = {"mqtt_broker": broker, "mqtt_topic": topic, "mqtt_username": username, "mqtt_ca_file": ca_file}
        settings = Settings.read(**{name: value for name, value in wanted.items() if value is not None})
        address, topics = BrokerAddress.parse(settings.mqtt_broker), Topics.below(settings.mqtt_topic)
        tls = trusting(settings.mqtt_ca_file) if address.tls else None
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # told to end by either, it says goodbye
        connection = Connection(address, topics, note)
        with opened(url, settings) as client:
            try:
                connection.open(settings.mqtt_username, settings.mqtt_password.get_secret_value(), tls)
                Publisher(Observer(client, timedelta(days=days)), connection, topics, every, note).run()
            except KeyboardInterrupt:
                note("Ending.")
            finally:
                connection.close()
