"""The plant file as a whole, and what in it is about the plant and not about one sump."""

from typing import Annotated, Literal

from pydantic import Field

from agent.plant.alarm_model import AlarmModel
from agent.plant.fields import Id, Name, PathText, Section, TopicText
from agent.plant.material_models import ConcentrateModel, SupplyModel, VesselModel
from agent.plant.notify_model import NotifyModel
from agent.plant.operation_model import OperationSection
from agent.plant.page_model import PageSection
from agent.plant.sump_models import ChecksModel, SumpModel


class PlantSection(Section):
    """The plant itself."""

    id: Id = Field(description="id of the plant")
    name: Name = Field(default="", description="what people call it")
    units: Literal["metric", "us"] = Field(
        default="metric", description="units that people read and write; this file is metric"
    )
    timezone: Name = Field(
        default="UTC", description="IANA name of the time zone that people live in"
    )
    lateness_s: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=86_400.0)] = Field(
        default=600.0,
        description="readings older than the newest of their signal count up to this lateness [s]",
    )
    backlog_max_d: Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=366.0)] = Field(
        default=7.0, description="readings and reports count up to this age at their arrival [d]"
    )


class BrokerSection(Section):
    """The MQTT broker. User and password come from the environment, never from here."""

    url: Annotated[str, Field(min_length=1, max_length=1024)] = Field(
        description="mqtt://HOST:PORT, or mqtts://HOST:PORT for TLS; ports 1883 and 8883 if absent"
    )
    prefix: TopicText | None = Field(
        default=None,
        description="topic under which the agent speaks and is spoken to; absent: millpond/PLANT",
    )
    client_id: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        default=None,
        description="the agent's name at the broker, of no other client; absent: millpond-PLANT",
    )
    ca_file: PathText | None = Field(
        default=None, description="certificates that are trusted; absent: the system's (PEM)"
    )
    cert_file: PathText | None = Field(default=None, description="the agent's certificate (PEM)")
    key_file: PathText | None = Field(
        default=None, description="key of the agent's certificate (PEM)"
    )


class StoreSection(Section):
    """Where the agent keeps what it has accepted."""

    path: PathText | None = Field(
        default=None,
        description="database file, relative to the plant file; absent: PLANT.db beside it",
    )
    raw_days: Annotated[float, Field(allow_inf_nan=False, ge=1.0, le=3660.0)] = Field(
        default=35.0, description="every reading is kept for this long, then each minute [d]"
    )
    minute_days: Annotated[float, Field(allow_inf_nan=False, ge=1.0, le=3660.0)] = Field(
        default=92.0, description="of each minute lowest, highest and mean are kept so long [d]"
    )
    hour_days: Annotated[float, Field(allow_inf_nan=False, ge=31.0, le=36_600.0)] = Field(
        default=1830.0, description="of each hour lowest, highest and mean are kept so long [d]"
    )
    record_days: Annotated[float, Field(allow_inf_nan=False, ge=1827.0, le=36_600.0)] = Field(
        default=3660.0,
        description="what people said, events and alarms are kept so long; 5 years at least [d]",
    )


class HistorianSection(Section):
    """The plant's time-series database. Its token comes from the environment, never from here."""

    url: Annotated[str, Field(pattern=r"^https?://[^\s/]+(/\S*)?$", max_length=1024)] = Field(
        description="http://HOST:PORT or https://HOST:PORT of a server with InfluxDB's v2 API"
    )
    org: Name = Field(description="organisation that the bucket is of")
    bucket: Name = Field(description="bucket that is written to")
    ca_file: PathText | None = Field(
        default=None, description="certificates that are trusted; absent: the usual ones (PEM)"
    )


class PlantModel(Section):
    """Describes one plant to millpond."""

    plant: PlantSection = Field(description="[plant], the plant itself")
    broker: BrokerSection = Field(description="[broker], the MQTT broker")
    store: StoreSection | None = Field(
        default=None, description="absent: PLANT.db beside the plant file"
    )
    page: PageSection | None = Field(
        default=None, description="the page for people at the sump; absent: none is served"
    )
    operation: OperationSection = Field(
        default_factory=OperationSection,
        description="[operation], health, metrics and the log",
    )
    historian: HistorianSection | None = Field(
        default=None, description="[historian], the time-series database; absent: none is sent to"
    )
    concentrate: list[ConcentrateModel] = Field(
        min_length=1, description="a [[concentrate]] for each concentrate in use"
    )
    supply: list[SupplyModel] = Field(
        default_factory=list, description="where water, concentrate and mixes come from"
    )
    vessel: list[VesselModel] = Field(
        default_factory=list,
        description="what people pour with; none: litres to the graduation of 0.1",
    )
    alarms: dict[str, AlarmModel] = Field(
        default_factory=dict,
        description="by alarm name, or name/signal: what is wanted otherwise of it everywhere",
    )
    checks: ChecksModel = Field(
        default_factory=ChecksModel, description="[checks], how often every sump is checked"
    )
    notify: list[NotifyModel] = Field(
        default_factory=list, description="a [[notify]] for each target that is told of alarms"
    )
    sump: list[SumpModel] = Field(min_length=1, description="a [[sump]] for each sump")
