from sidewise.errors import UserError as UserError
from sidewise.errors import UserErrors as UserErrors
from sidewise.face.drawings import pictures as pictures
from sidewise.face.examinations import follow as follow
from sidewise.face.examinations import interpret as interpret
from sidewise.face.examinations import read_record as read_record
from sidewise.face.examinations import region as region
from sidewise.face.examinations import write_note as write_note
from sidewise.face.registers import read_batch as read_batch
from sidewise.face.registers import read_register as read_register
from sidewise.face.students import agree as agree
from sidewise.face.students import analyse_marks as analyse_marks
from sidewise.face.students import read_findings as read_findings
from sidewise.face.students import read_marks as read_marks
from sidewise.schemas import schema_of as schema_of

__version__: str
__all__: list[str]
