"""``drawerwright mqtt``: publish a service's jobs to an MQTT 5 broker."""

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
    topic: Annotated[str | None, typer.Option(help="Prefix of all topics.", show_default="drawerwright")] = None,
    username: Annotated[
        str | None, typer.Option(help="User name for the broker; set the password as DRAWERWRIGHT_MQTT_PASSWORD.")
    ] = None,
    ca_file: Annotated[
        str | None, typer.Option(metavar="FILE", help="CA certificates to verify the broker with (PEM).")
    ] = None,
    every: Annotated[float, typer.Option(min=0.2, max=3600.0, help="Polling interval in seconds.")] = 2.0,
    discovery: Annotated[
        str | None,
        typer.Option(metavar="PREFIX", help="Announce the print queue to home automation hubs below this prefix."),
    ] = None,
    button: Annotated[
        bool, typer.Option("--button", help="Announce a button that records the next run as printed (scope `record`).")
    ] = False,
    forget: Annotated[bool, typer.Option("--forget", help="Delete what --discovery has announced, and end.")] = False,
    days: Annotated[int, typer.Option(min=1, max=3650, help="Days to keep publishing a job that has ended.")] = 30,
    url: Url = None,
) -> None:
    """Publish job states, events and the print queue to an MQTT 5 broker until Ctrl-C.

    Requires a key of scope `read` if the service uses keys. Topics: TOPIC/status (online or offline),
    TOPIC/jobs/ID/state, TOPIC/jobs/ID/event and TOPIC/queue; all but events are retained. A request on TOPIC/where (the
    name of a thing) is answered on its response topic. With --discovery hubs find the queue by themselves, and
    TOPIC/values/NAME has its values. Each option can also be set as DRAWERWRIGHT_MQTT_BROKER, _TOPIC, _USERNAME,
    _PASSWORD, _CA_FILE and _DISCOVERY, or as mqtt_broker and so on in the configuration file.
    """
    with ending(machine=False):
        if find_spec("paho") is None:
            raise SettingsError("paho-mqtt is not installed.", remedy="Run: pip install 'drawerwright[mqtt]'")
        from api.mqtt.batch_poller import BatchPoller  # noqa: PLC0415 - the other commands need no broker
        from api.mqtt.broker_address import BrokerAddress, Topics  # noqa: PLC0415 - as above
        from api.mqtt.connection import Connection, tls_context  # noqa: PLC0415 - as above
        from api.mqtt.discovery import Discovery  # noqa: PLC0415 - as above
        from api.mqtt.job_poller import JobPoller  # noqa: PLC0415 - as above
        from api.mqtt.publisher import Publisher  # noqa: PLC0415 - as above
        from api.mqtt.responder import Responder  # noqa: PLC0415 - as above
        from api.mqtt.silhouette_poller import SilhouettePoller  # noqa: PLC0415 - as above

        options = {"mqtt_broker": broker, "mqtt_topic": topic, "mqtt_username": username, "mqtt_ca_file": ca_file}
        options |= {"mqtt_discovery": discovery}
        settings = Settings.read(**{name: value for name, value in options.items() if value is not None})
        address, topics = BrokerAddress.parse(settings.mqtt_broker), Topics.below(settings.mqtt_topic)
        if (button or forget) and not settings.mqtt_discovery:
            raise SettingsError(
                "--button and --forget need --discovery.", remedy="Give the prefix that the hub listens to."
            )
        tls = tls_context(settings.mqtt_ca_file) if address.tls else None
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # either signal publishes `offline` before exit
        connection = Connection(address, topics, note)
        announcer = None
        if settings.mqtt_discovery:
            prefix = Topics.below(settings.mqtt_discovery).root
            announcer = Discovery(connection, topics, prefix, button=button or forget)
        with opened(url, settings) as client:
            retention = timedelta(days=days)
            pollers = JobPoller(client, retention), BatchPoller(client, retention), SilhouettePoller(client)
            publisher = Publisher(*pollers, connection, topics, every, note, announcer)
            responder = Responder(client, connection, topics, publisher.poll_prints_soon if button else None)
            if not forget:
                responder.start()
            try:
                connection.open(settings.mqtt_username, settings.mqtt_password.get_secret_value(), tls)
                if forget and announcer is not None:
                    announcer.remove()
                else:
                    publisher.run()
            except KeyboardInterrupt:
                note("Stopping.")
            finally:
                responder.close()
                connection.close()
