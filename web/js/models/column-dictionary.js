/** The data dictionary of the service: label, unit, decimals and meaning of every column. */

const UNKNOWN = { unit: "", description: "", estimate: false, decimals: 2 };

export class ColumnDictionary {
  #columns;

  constructor(columns = []) {
    this.#columns = new Map(columns.map((column) => [column.name, column]));
  }

  get names() {
    return [...this.#columns.keys()];
  }

  /** The column; one that the dictionary lacks gets its name as label. */
  get(name) {
    return { name, label: name, ...UNKNOWN, ...this.#columns.get(name) };
  }
}
